#include "dsp/harmony/implied.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {
namespace {

constexpr double surroundings_seconds = 12.0;
constexpr double least_gap = 0.25;
constexpr double frame_length_seconds =
    static_cast<double>(evidence_hop_samples * chord_hop_frames) / analysis_rate_hz;

}  // namespace

ImpliedHarmony::ImpliedHarmony(const ProbabilityTable& chord)
    : gaps_(chord.row_count() + 1, 0.0), frames_(chord.row_count() + 1, 0.0) {
  for (std::size_t j = 0; j < chord.row_count(); ++j) {
    const auto row = chord.row(j);
    double gap = 0.0;
    const bool is_chord = row[no_chord_column] < 0.5F;
    if (is_chord) {
      std::array<double, pitch_class_count> roots{};
      double chord_probability = 0.0;
      for (std::size_t c = 0; c < no_chord_column; ++c) {
        roots[c / chord_quality_count] += row[c];
        chord_probability = std::max(chord_probability, static_cast<double>(row[c]));
      }
      gap = *std::max_element(roots.begin(), roots.end()) - chord_probability;
    }
    gaps_[j + 1] = gaps_[j] + gap;
    frames_[j + 1] = frames_[j] + (is_chord ? 1.0 : 0.0);
  }
}

bool ImpliedHarmony::is_implied(double begin_seconds, double end_seconds) const {
  const auto last = static_cast<double>(gaps_.size() - 1);
  const auto frame = [last](double seconds) {
    return static_cast<std::size_t>(
        std::clamp(std::round(seconds / frame_length_seconds), 0.0, last));
  };
  const std::size_t begin = frame(begin_seconds - surroundings_seconds);
  const std::size_t end = frame(end_seconds + surroundings_seconds);
  const double count = frames_[end] - frames_[begin];
  return count > 0.0 && gaps_[end] - gaps_[begin] >= least_gap * count;
}

}  // namespace lowstride::dsp
