#pragma once

#include <optional>
#include <vector>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {

struct DecodedBeat {
  double time_seconds = 0.0;
  int bar = 0;              // the first full bar is 1; a pick-up or count-in has bar 0 or less
  int beat = 1;             // 1 = downbeat
  double confidence = 0.0;  // 0..1: probability that a beat falls here with this number in its bar

  bool operator==(const DecodedBeat&) const = default;
};

/// Beats and bars over the sounding part of a recording.
struct DecodedGrid {
  std::vector<DecodedBeat> beats;     // in order of time; empty when there is no pulse
  int beats_per_bar = 4;              // 3 or 4
  std::optional<double> tempo_bpm;    // median; nothing without beats
  std::optional<double> swing_ratio;  // long to short, >= 1; nothing when no off-beats were heard
  /// Twice or three times the tempo, a half or a third, where the music may well be counted so.
  std::optional<double> rival_bpm;

  bool operator==(const DecodedGrid&) const = default;
};

struct BeatDecoderOptions {
  double lowest_bpm = 40.0;
  double highest_bpm = 320.0;
  std::optional<double> tempo_bpm;          // what the player knows: stay within 12 % of it
  std::optional<int> beats_per_bar;         // 3 or 4
  std::optional<double> first_bar_seconds;  // the one of bar 1
  std::vector<double> fixed_beats_seconds;  // confirmed beats; the path goes through each
};

/// Beats, bars and meter by Viterbi over (period, position in the beat), then over (meter, position
/// in the bar). No pulse gives an empty grid. Thread-safe. `notes_onset_seconds` and their pitches
/// do not enter here: the evidence already holds them.
/// Where twice or three times the tempo explains the recording nearly as well as the slower count,
/// the more probable of the two is taken, beats are less sure, and `rival_bpm` names the other.
/// Source: bar-pointer model after Whiteley, Cemgil & Godsill, ISMIR 2006, and Krebs, Böck &
/// Widmer, ISMIR 2015 (state space); observation rule as measured in DEVELOPERS.md.
[[nodiscard]] DecodedGrid decode_beats(const Evidence& evidence, const BeatDecoderOptions& options);

/// Long to short of the off-beat onsets between beats (1 = straight, 2 = triplet), or nothing when
/// fewer than eight off-beats lie between 1:1 and 4:1.
[[nodiscard]] std::optional<double> estimate_swing_ratio(const DecodedGrid& grid,
                                                         const Evidence& evidence);

}  // namespace lowstride::dsp
