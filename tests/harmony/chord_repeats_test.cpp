#include "dsp/harmony/chord_repeats.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "tests/harmony/evidence_of_chords.hpp"

namespace lowstride::dsp {
namespace {

using enum ChordQuality;

/// A row a beat: `share` for the chord, the rest spread evenly.
Table posterior_of(const std::vector<std::size_t>& columns, float share) {
  Table table(columns.size(), chord_column_count,
              (1.0F - share) / static_cast<float>(chord_column_count - 1));
  for (std::size_t i = 0; i < columns.size(); ++i) table.row(i)[columns[i]] = share;
  return table;
}

Table logarithm(const Table& table) {
  Table result = table;
  for (std::size_t i = 0; i < table.row_count(); ++i) {
    for (float& value : result.row(i)) value = std::log(value);
  }
  return result;
}

TEST(Repeats, lend_a_hidden_bar_the_chord_of_the_other_choruses_and_no_other) {
  // Three times round eight different chords, a bar each; one bar of the second round is hidden.
  std::vector<std::size_t> columns;
  columns.reserve(96);
  for (int beat = 0; beat < 96; ++beat) {
    columns.push_back(chord_column((beat / 4 % 8) * 5 % 12, minor_seventh));
  }
  auto posterior = posterior_of(columns, 0.9F);
  constexpr std::size_t hidden = 40;
  for (std::size_t i = hidden; i < hidden + 4; ++i) {
    for (float& value : posterior.row(i)) value = 1.0F / chord_column_count;
  }
  const auto emission = logarithm(posterior);
  const auto together = with_repeats(emission, posterior, grid_of(96), 0.8);
  for (std::size_t i = hidden; i < hidden + 4; ++i) {
    const auto row = together.row(i);
    EXPECT_EQ(static_cast<std::size_t>(std::max_element(row.begin(), row.end()) - row.begin()),
              columns[i]);
  }
}

TEST(Repeats, change_nothing_where_nothing_comes_round) {
  std::vector<std::size_t> columns;
  for (std::size_t beat = 0; beat < 64; ++beat) {
    const std::size_t bar = beat / 4;
    columns.push_back(
        chord_column(static_cast<int>((bar * bar * 5 + bar * 7 + bar / 3) % 12), minor));
  }
  const auto posterior = posterior_of(columns, 0.9F);
  const auto emission = logarithm(posterior);
  EXPECT_EQ(with_repeats(emission, posterior, grid_of(64), 0.8), emission);
}

}  // namespace
}  // namespace lowstride::dsp
