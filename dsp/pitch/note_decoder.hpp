#pragma once

#include <optional>
#include <vector>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {

/// One reading of a note with the probability that the sound gives it.
struct PitchCandidate {
  int midi = 0;
  double probability = 0.0;  // 0..1

  bool operator==(const PitchCandidate&) const = default;
};

/// A note that the decoder proposes.
struct DecodedNote {
  double onset_seconds = 0.0;
  double offset_seconds = 0.0;               // > onset_seconds
  int midi = 0;                              // sounding, on the tuned grid
  bool is_dead = false;                      // a muted, percussive stroke
  double confidence = 0.0;                   // 0..1: probability that onset and pitch are right
  double octave_margin = 1.0;                // 0..1: probability of this octave among its octaves
  std::vector<PitchCandidate> alternatives;  // best first, without `midi` itself; at most 4

  bool operator==(const DecodedNote&) const = default;
};

/// A stretch that a person decided: inside it the decoder proposes nothing.
struct DecidedSpan {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
};

/// A stretch of a recording, [begin, end).
struct DecodedStretch {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
};

struct NoteDecoderOptions {
  int lowest_midi = lowest_evidence_midi;  // within the evidence's range
  int highest_midi = lowest_evidence_midi + static_cast<int>(evidence_pitch_count) - 1;
  std::vector<DecidedSpan> decided;  // confirmed notes and confirmed gaps; overlaps are allowed
  /// Read this stretch only, as if everything outside were decided: notes begin and end inside, and
  /// a note that rings in from before is not proposed again. Costs 17 ms a minute of stretch.
  std::optional<DecodedStretch> stretch;
};

/// The low voice's notes, in order of time, one at a time (a note ends where the next begins or
/// before). No note overlaps a decided span; what rings out of one is not proposed again until it
/// is struck. Silence, noise and music without a low voice give an empty vector. Pitches outside
/// `lowest_midi`..`highest_midi` are never proposed, as notes or as alternatives.
/// Requires lowest_midi <= highest_midi, both within the evidence's range. Thread-safe.
/// Source: Viterbi (1967) over 45 pitches and none (note_path.hpp); emissions from
/// `Evidence::pitch`, strikes from the local maxima of `Evidence::onset`, timed by a parabola
/// through their logarithms (Smith & Serra, PARSHL, 1987).
[[nodiscard]] std::vector<DecodedNote> decode_notes(const Evidence& evidence,
                                                    const NoteDecoderOptions& options);

}  // namespace lowstride::dsp
