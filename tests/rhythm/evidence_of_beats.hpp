#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "tests/base/packed.hpp"

namespace lowstride::dsp {

/// A beat of a made-up performance.
struct PlayedBeat {
  double seconds = 0.0;
  bool is_downbeat = false;
  bool is_struck = true;  // something sounds on it
};

/// Beats at a steady tempo: `count` of them from `begin_seconds`, the first one a downbeat.
inline std::vector<PlayedBeat> steady_beats(double bpm, std::size_t count, int beats_per_bar = 4,
                                            double begin_seconds = 0.5) {
  std::vector<PlayedBeat> beats;
  for (std::size_t i = 0; i < count; ++i) {
    beats.push_back({begin_seconds + 60.0 / bpm * static_cast<double>(i),
                     i % static_cast<std::size_t>(beats_per_bar) == 0, true});
  }
  return beats;
}

/// Raises `values` by a bump of 18 ms (sigma) at a time, as training targets have it.
inline void add_bump(std::vector<float>& values, double seconds, float height) {
  const double centre = seconds_frame(seconds);
  for (std::size_t f = 0; f < values.size(); ++f) {
    const double off = (static_cast<double>(f) - centre) / (0.018 * 86.13);
    if (std::abs(off) > 4.0) continue;
    values[f] = std::max(values[f], height * static_cast<float>(std::exp(-0.5 * off * off)));
  }
}

/// Evidence of a performance in which bass and harmony sound throughout: C on the low string, and
/// an undecided chord.
inline Evidence evidence_of(const std::vector<PlayedBeat>& beats, double length_seconds,
                            float strength = 0.9F) {
  Evidence evidence;
  const auto frames = static_cast<std::size_t>(seconds_frame(length_seconds)) + 1;
  Table pitch(frames, evidence_pitch_count + 1);
  for (std::size_t f = 0; f < frames; ++f) pitch.row(f)[5] = 1.0F;
  evidence.pitch = packed(pitch);
  evidence.onset = packed(Table(frames, evidence_pitch_count));
  evidence.beat.assign(frames, 0.01F);
  evidence.downbeat.assign(frames, 0.01F);
  evidence.dead.assign(frames, 0.0F);
  for (const auto& beat : beats) {
    if (!beat.is_struck) continue;
    add_bump(evidence.beat, beat.seconds, strength);
    if (beat.is_downbeat) add_bump(evidence.downbeat, beat.seconds, strength);
  }
  return evidence;
}

/// Share of played beats that have a decoded beat within `tolerance_seconds`.
template <typename Beats>
double share_found(const std::vector<PlayedBeat>& played, const Beats& decoded,
                   double tolerance_seconds) {
  std::size_t found = 0;
  for (const auto& beat : played) {
    found += std::any_of(decoded.begin(), decoded.end(), [&](const auto& d) {
      return std::abs(d.time_seconds - beat.seconds) <= tolerance_seconds;
    });
  }
  return static_cast<double>(found) / static_cast<double>(played.size());
}

}  // namespace lowstride::dsp
