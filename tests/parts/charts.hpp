#pragma once

#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "src/parts/chart.hpp"
#include "src/take/take.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::parts::testing_help {

/// A chord chart in a key, with or without a finished line over it.
struct RandomChart {
  std::vector<ChartBeat> beats;
  std::optional<theory::Key> key;
  int beats_per_bar = 4;
};

/// Chords of one to eight beats, of every root and quality and some over another bass; with a line
/// of leaps and steps on most beats for two charts in three. The seed decides everything.
[[nodiscard]] RandomChart random_chart(std::uint32_t seed, int lowest_midi, int highest_midi);

/// A take of bars as written, "| G7 | Am7 D7 |", four beats each, and a line of one note a beat
/// (nothing: a rest), at 120 bpm and 44,100 samples a second, on a bass.
[[nodiscard]] take::Take chart_take(const std::vector<std::vector<std::string>>& bars,
                                    const std::vector<std::optional<int>>& line,
                                    std::optional<theory::Key> key);

}  // namespace lowstride::parts::testing_help
