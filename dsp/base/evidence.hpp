#pragma once

#include <cstddef>
#include <vector>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/probability_table.hpp"

namespace lowstride::dsp {

/// The rate at which analysis reads sound, mono.
inline constexpr double analysis_rate_hz = 22050.0;
/// Samples at `analysis_rate_hz` between two frames of evidence (86.13 frames a second).
inline constexpr std::size_t evidence_hop_samples = 256;
/// Frames of pitch evidence to one of chord evidence (10.77 a second).
inline constexpr std::size_t chord_hop_frames = 8;
/// Pitches that evidence tells apart: B0 (23) to G4 (67), by semitones of the tuned grid.
inline constexpr int lowest_evidence_midi = 23;
inline constexpr std::size_t evidence_pitch_count = 45;
/// Column of `Evidence::pitch` that stands for "no low voice sounds".
inline constexpr std::size_t no_pitch_column = evidence_pitch_count;

/// What the signal says before anyone decides. The one value between listening and deciding:
/// whatever makes it, the decoders see nothing else. Frame i is centred on sample
/// i * evidence_hop_samples at analysis_rate_hz; chord frame j on frame j * chord_hop_frames.
/// All values are probabilities in 0..1, finite; those of a listener are multiples of 1/65535,
/// which is what a cache keeps. Memory: about 130 bytes a frame (40 MB an hour) of
/// music.
struct Evidence {
  double a4_hz = 440.0;         // the grid that pitches stand on
  ProbabilityTable pitch;       // [frame][46]: posterior over 45 pitches and none; rows sum to 1
  ProbabilityTable onset;       // [frame][45]: a note of this pitch begins here
  std::vector<float> beat;      // [frame]: a beat falls here
  std::vector<float> downbeat;  // [frame]: a first beat of a bar falls here
  std::vector<float>
      dead;  // [frame]: a dead (muted, percussive) stroke of the low voice begins here
  double guitar_share = 0.0;  // 0..1: how sure it is that one guitar plays bass and chords at once
  // [chord frame][169]: posterior over chord_column() and no chord; rows sum to 1
  ProbabilityTable chord;
  ProbabilityTable chord_bass;  // [chord frame][12]: pitch class of its bass note; rows sum to 1

  [[nodiscard]] std::size_t frame_count() const noexcept { return pitch.row_count(); }

  bool operator==(const Evidence&) const = default;
};

/// Seconds from the start of the recording to the centre of a frame.
[[nodiscard]] constexpr double frame_seconds(double frame) noexcept {
  return frame * static_cast<double>(evidence_hop_samples) / analysis_rate_hz;
}
/// Frame, with fraction, at a time in seconds.
[[nodiscard]] constexpr double seconds_frame(double seconds) noexcept {
  return seconds * analysis_rate_hz / static_cast<double>(evidence_hop_samples);
}

}  // namespace lowstride::dsp
