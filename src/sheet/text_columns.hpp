#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/sheet/layout.hpp"

namespace lowstride::sheet {

/// A line of bars in text tab. Between two bar lines lie one column of lead and the beats.
struct TextSystem {
  std::size_t first_bar = 0;  // index into the layout's bars
  std::size_t bar_count = 0;
  std::vector<std::vector<int>> beat_columns;  // [bar][beat]: width of each beat
};

/// Columns from the start of a beat of `width` columns to a tatum, rounded to the nearest.
[[nodiscard]] constexpr int column_of(int tatum, int width) noexcept {
  return (tatum * width + tatums_per_beat / 2) / tatums_per_beat;
}

/// The code points of UTF-8 text, and back. Bytes that are none become U+FFFD.
[[nodiscard]] std::u32string code_points(std::string_view text);
[[nodiscard]] std::string utf8(const std::u32string& points);
/// Columns that a text takes: one a code point.
[[nodiscard]] int column_count(std::string_view text);

/// What a note looks like on its string: "5", "(5)" when held over, "x" when dead, "*" when the
/// neck does not have it.
[[nodiscard]] std::string note_text(const SheetNote& note);
/// The same for one string of a stab.
[[nodiscard]] std::string stab_text(const SheetStab& stab, const neck::Position& place);
/// "Bb7", with a question mark behind it when in doubt.
[[nodiscard]] std::string chord_text(const SheetChord& chord);

/// Breaks bars into systems of eight, four, two or one bar, whatever `width_columns` holds, a
/// pick-up before the first. Every note, stab, count and chord name keeps a free column behind it.
/// Bars stand under each other from system to system where the width allows that.
[[nodiscard]] std::vector<TextSystem> plan_systems(std::span<const SheetBar> bars,
                                                   int label_columns, int width_columns);

}  // namespace lowstride::sheet
