#pragma once

#include <optional>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/fingering.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::analysis {

/// The notes of a take as the neck room wants them, one each: pinned positions are binding, and a
/// note that is no tone of the chord which begins with the next note would ring into it.
[[nodiscard]] std::vector<neck::LineNote> line_of(const take::Take& take);

/// The fingering of a take's line on its neck, as its hand likes to play. `octave_shift` moves the
/// line by that many octaves; without it, the fewest octaves that bring a line up from below the
/// neck. Errors: those of neck::finger_line.
[[nodiscard]] Result<neck::Fingering> fingering_of(const take::Take& take,
                                                   std::optional<int> octave_shift);

/// The same as an edit. Pinned positions stay.
[[nodiscard]] Result<take::Edit> fingering_edit(const take::Take& take,
                                                std::optional<int> octave_shift);

}  // namespace lowstride::analysis
