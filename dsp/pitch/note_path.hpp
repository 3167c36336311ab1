#pragma once

#include <cstddef>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "dsp/base/table.hpp"

namespace lowstride::dsp {

/// One note of the best path, in frames of the tables that were given.
struct PathNote {
  std::size_t begin_frame = 0;
  std::size_t end_frame = 0;    // > begin_frame
  std::size_t pitch_index = 0;  // < evidence_pitch_count

  bool operator==(const PathNote&) const = default;
};

/// What the search weighs. Every table has one row a frame.
struct NotePathInput {
  Table log_posterior;  // [frame][46]: natural logarithms, finite
  Table strike;         // [frame][45]: probability that a note of this pitch is struck here, 0..1
  std::vector<char> closed;  // [frame]: not 0 where no note may sound
  Table barred;  // [frame][45]: not 0 where a note of this pitch may not begin; empty: nowhere
};

/// Shortest note that the search proposes, in frames (46 ms: a swung eighth at 320 beats a minute
/// lasts 62 ms; the strike of the next note may be heard 10 ms early).
inline constexpr std::size_t shortest_note_frames = 4;

/// The most probable succession of notes and rests, one note at a time, in order of time.
/// Source: Viterbi, IEEE Trans. Inf. Theory 13(2), 1967, over none and pitch x (attack, sustain);
/// attack lasts `shortest_note_frames`. Prices of the transitions: see the constants in the .cpp.
/// Memory: about 140 bytes a frame beside the input.
[[nodiscard]] std::vector<PathNote> find_note_path(const NotePathInput& input);

}  // namespace lowstride::dsp
