#pragma once

#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {

/// A note of a line that tests play.
struct PluckedNote {
  double onset_seconds = 0.0;
  double offset_seconds = 0.0;
  double midi = 0.0;
};

struct Pluck {
  double decay_seconds = 0.9;     // time constant of the first partial
  double pluck_share = 0.2;       // of the string length
  double stiffness = 1e-4;        // inharmonicity B in f_h = h f0 sqrt(1 + B h^2)
  double fundamental_gain = 1.0;  // small bodies radiate little of it
  double a4_hz = 440.0;
};

/// Plucked strings by addition of partials, mono at `analysis_rate_hz`: amplitudes
/// sin(pi h share) / h of an ideal string plucked at a point (Fletcher & Rossing, The Physics of
/// Musical Instruments, 2nd ed., section 2.7), each partial decaying at sqrt(h) times the pace of
/// the first, 3 ms of attack and 12 ms of release.
inline std::vector<float> play_plucked(const std::vector<PluckedNote>& notes, double length_seconds,
                                       const Pluck& pluck = {}) {
  std::vector<float> sound(static_cast<std::size_t>(length_seconds * analysis_rate_hz), 0.0F);
  for (const PluckedNote& note : notes) {
    const double f0 = pluck.a4_hz * std::exp2((note.midi - 69.0) / 12.0);
    const auto begin = static_cast<std::size_t>(note.onset_seconds * analysis_rate_hz);
    for (int h = 1; h <= 30; ++h) {
      const double hz = h * f0 * std::sqrt(1.0 + pluck.stiffness * h * h);
      if (hz > 0.45 * analysis_rate_hz) break;
      const double level = 0.2 * std::sin(std::numbers::pi * h * pluck.pluck_share) / h *
                           (h == 1 ? pluck.fundamental_gain : 1.0);
      const double decay = pluck.decay_seconds / std::sqrt(h);
      for (std::size_t n = begin; n < sound.size(); ++n) {
        const double t = static_cast<double>(n - begin) / analysis_rate_hz;
        const double over = t - (note.offset_seconds - note.onset_seconds);
        if (over > 0.1) break;
        const double shape = std::exp(-t / decay) * std::min(1.0, t / 0.003) *
                             (over > 0.0 ? std::exp(-over / 0.012) : 1.0);
        sound[n] += static_cast<float>(level * shape * std::sin(2.0 * std::numbers::pi * hz * t));
      }
    }
  }
  return sound;
}

}  // namespace lowstride::dsp
