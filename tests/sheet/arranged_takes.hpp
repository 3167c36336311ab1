#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/parts/arrange.hpp"
#include "tests/parts/charts.hpp"

namespace lowstride::sheet::example {

inline constexpr std::array<parts::Style, 5> all_styles{
    parts::Style::strum, parts::Style::root_fifth, parts::Style::boogie, parts::Style::walking,
    parts::Style::motif};

/// Four bars of a blues for one guitar, at 120 bpm.
inline take::Take arranged(parts::Style style, std::optional<double> swing_ratio = std::nullopt) {
  take::Take take = parts::testing_help::chart_take(
      {{"G7"}, {"C7"}, {"G7"}, {"Dm7", "G7"}},
      {31, 35, 38, 40, 36, 40, 43, 42, 43, 41, 38, 35, 38, 41, 43, 35}, theory::Key{7, false});
  take.swing_ratio = swing_ratio;
  auto made = parts::arrange(take, {.style = style, .tempo_bpm = 120.0});
  EXPECT_TRUE(made) << made.error().message;
  return made ? made->take : take;
}

/// Eight bars of random chords under a random line, for one guitar. The seed decides everything.
inline take::Take random_arrangement(std::uint32_t seed, parts::Style style) {
  std::mt19937 random(seed);
  const auto number = [&random](int low, int high) {
    return std::uniform_int_distribution<int>(low, high)(random);
  };
  constexpr std::array<const char*, 10> qualities{"",     "m",  "7",    "maj7", "m7",
                                                  "m7b5", "m6", "dim7", "6",    "7sus4"};
  constexpr std::array<const char*, 12> roots{"C",  "Db", "D",  "Eb", "E",  "F",
                                              "F#", "G",  "Ab", "A",  "Bb", "B"};
  std::vector<std::vector<std::string>> bars;
  for (int bar = 0; bar < 8; ++bar) {
    auto& chords = bars.emplace_back();
    for (int i = number(1, 2); i > 0; --i) {
      chords.push_back(std::string(roots[static_cast<std::size_t>(number(0, 11))]) +
                       qualities[static_cast<std::size_t>(number(0, 9))]);
    }
  }
  std::vector<std::optional<int>> line;
  line.reserve(32);
  for (int i = 0; i < 32; ++i) {
    line.push_back(number(0, 6) == 0 ? std::optional<int>() : number(28, 50));
  }
  take::Take take = parts::testing_help::chart_take(bars, line, std::nullopt);
  if (seed % 2 == 0) take.swing_ratio = 1.6 + 0.1 * static_cast<double>(seed % 7);
  auto made = parts::arrange(take, {.style = style, .tempo_bpm = 80.0 + seed});
  EXPECT_TRUE(made) << made.error().message;
  return made ? made->take : take;
}

}  // namespace lowstride::sheet::example
