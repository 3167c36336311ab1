#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "src/neck/neck.hpp"
#include "src/sheet/layout.hpp"
#include "src/sheet/page.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// A shape that a stab is struck with, and the chord that it stands for.
struct ChordGrid {
  std::string name;                       // as the sheet names the chord
  std::vector<neck::Position> positions;  // lowest string first
  std::size_t times = 1;                  // how often the sheet strikes it

  bool operator==(const ChordGrid&) const = default;
};

/// The shapes of a layout's stabs, each once under each chord (with the fingers that it first has),
/// in order of appearance. Of more than `most_count` the most used ones (ties: the earlier).
[[nodiscard]] std::vector<ChordGrid> used_grids(const take::Take& take, const SheetLayout& layout,
                                                std::size_t most_count);

/// Room for one grid.
inline constexpr double chord_grid_width_pt = 42.0;
[[nodiscard]] double chord_grid_height_pt(const std::vector<ChordGrid>& grids) noexcept;

/// Draws a grid, upper left corner at the origin: name, a line a string (the lowest at the left), a
/// line a fret, dots where fingers stop strings and their numbers below, o over open strings and x
/// over silent ones; at the side the number of the uppermost fret shown where that is not the
/// first; a bar where one finger stops several strings (common practice).
[[nodiscard]] std::vector<Mark> chord_grid_marks(const ChordGrid& grid, const neck::Neck& neck,
                                                 const TextMeasure& measure);

}  // namespace lowstride::sheet
