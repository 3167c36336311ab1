#pragma once

#include <optional>
#include <vector>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/evidence.hpp"
#include "dsp/pitch/note_decoder.hpp"
#include "dsp/rhythm/beat_decoder.hpp"

namespace lowstride::dsp {

/// A chord, or none at all when `root_pc` is empty.
struct ChordReading {
  std::optional<int> root_pc;  // 0 = C .. 11 = B
  ChordQuality quality = ChordQuality::major;
  int bass_pc = 0;  // equals the root unless the chord is inverted; 0 without a chord

  bool operator==(const ChordReading&) const = default;
};

struct ChordCandidate {
  ChordReading chord;
  double probability = 0.0;

  bool operator==(const ChordCandidate&) const = default;
};

struct DecodedChord {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
  ChordReading chord;
  double confidence = 0.0;                   // 0..1: probability that root and quality are right
  bool is_implied = false;                   // only the bass line says so: nothing sounds above it
  std::vector<ChordCandidate> alternatives;  // best first, without the chord itself; at most 3

  bool operator==(const DecodedChord&) const = default;
};

struct DecodedKey {
  int tonic_pc = 0;
  bool is_minor = false;
  double confidence = 0.0;

  bool operator==(const DecodedKey&) const = default;
};

/// From here on the music stands in this key.
struct DecodedKeySpan {
  double begin_seconds = 0.0;
  DecodedKey key;

  bool operator==(const DecodedKeySpan&) const = default;
};

struct DecodedHarmony {
  std::vector<DecodedChord> chords;       // contiguous, in order of time; empty without a grid
  std::optional<DecodedKey> key;          // of the whole recording
  std::vector<DecodedKeySpan> key_spans;  // in order of time; more than one where the key changes

  bool operator==(const DecodedHarmony&) const = default;
};

/// A chord that the player knows.
struct FixedChord {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
  ChordReading chord;
};

struct ChordDecoderOptions {
  std::vector<FixedChord> fixed;  // confirmed chords, in order of time; returned as they are
  std::optional<DecodedKey> key;  // what the player knows
};

/// Chords on the beats of `grid` by Viterbi over beat-synchronous evidence; `notes` (the decoded
/// low voice) weigh in through how likely each degree is under each chord. The last chord goes on
/// for as long as it sounds after the last beat, a bar at most. Confidence and alternatives
/// are the purely acoustic probabilities over the span. Thread-safe.
/// Source: beat-synchronous decoding with metre, key and bass as witnesses after Mauch & Dixon,
/// IEEE TASLP 18(6), 2010; their one network is cut into steps here.
[[nodiscard]] DecodedHarmony decode_harmony(const Evidence& evidence, const DecodedGrid& grid,
                                            const std::vector<DecodedNote>& notes,
                                            const ChordDecoderOptions& options);

}  // namespace lowstride::dsp
