#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "src/sheet/grid.hpp"
#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// Puts the stabs of a take into bars that hold its notes already and together cover `grid`. A stab
/// struck with a note (within a twentieth of a beat) stands where the note stands; others on the
/// nearest slot of their beat, which takes a finer division where no note has set one. Silence
/// under half a beat after a stab is not written. Gives the number of stabs that found no place:
/// outside the grid, or on the place of one before them.
[[nodiscard]] std::size_t fill_stabs(const take::Take& take, std::span<const GridBeat> grid,
                                     double long_share, std::vector<SheetBar>& bars);

}  // namespace lowstride::sheet
