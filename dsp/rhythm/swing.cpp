#include <algorithm>
#include <cmath>

#include "dsp/rhythm/beat_decoder.hpp"

namespace lowstride::dsp {
namespace {

constexpr double earliest_off_beat = 0.43;  // straight eighths scatter to both sides of the middle
constexpr double latest_off_beat = 0.80;    // 4 : 1
constexpr float smallest_onset = 0.3F;
constexpr std::size_t fewest_off_beats = 8;

float onset_strength(const Evidence& evidence, std::size_t frame) {
  const auto row = evidence.onset.row(frame);
  const float pitched = *std::max_element(row.begin(), row.end());
  return frame < evidence.dead.size() ? std::max(pitched, evidence.dead[frame]) : pitched;
}

}  // namespace

std::optional<double> estimate_swing_ratio(const DecodedGrid& grid, const Evidence& evidence) {
  const std::size_t frame_count = evidence.onset.row_count();
  std::vector<double> positions;
  for (std::size_t i = 0; i + 1 < grid.beats.size(); ++i) {
    const double begin = seconds_frame(grid.beats[i].time_seconds);
    const double length = seconds_frame(grid.beats[i + 1].time_seconds) - begin;
    if (length < 8.0) continue;
    // Triplets say nothing about swing: exactly one onset may lie inside the beat.
    std::size_t inside = 0;
    double position = 0.0;
    const auto first = static_cast<std::size_t>(std::max(1.0, std::ceil(begin + 0.15 * length)));
    const auto last = static_cast<std::size_t>(std::floor(begin + 0.87 * length));
    for (std::size_t f = first; f <= last && f + 1 < frame_count; ++f) {
      const float before = onset_strength(evidence, f - 1);
      const float here = onset_strength(evidence, f);
      const float after = onset_strength(evidence, f + 1);
      if (here < smallest_onset || here < before || here <= after) continue;
      const double bend = static_cast<double>(before) - 2.0 * here + after;
      const double shift = bend < 0.0 ? 0.5 * (static_cast<double>(before) - after) / bend : 0.0;
      position = (static_cast<double>(f) + shift - begin) / length;
      ++inside;
    }
    if (inside == 1 && position >= earliest_off_beat && position <= latest_off_beat) {
      positions.push_back(position);
    }
  }
  if (positions.size() < fewest_off_beats) return std::nullopt;
  const auto middle = positions.begin() + static_cast<std::ptrdiff_t>(positions.size() / 2);
  std::nth_element(positions.begin(), middle, positions.end());
  return std::max(1.0, *middle / (1.0 - *middle));
}

}  // namespace lowstride::dsp
