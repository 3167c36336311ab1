#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {

/// One note of the best path, in frames counted from the first that was added.
struct PathNote {
  std::size_t begin_frame = 0;
  std::size_t end_frame = 0;    // > begin_frame
  std::size_t pitch_index = 0;  // < evidence_pitch_count

  bool operator==(const PathNote&) const = default;
};

/// What the search weighs in one frame.
struct NotePathFrame {
  std::array<float, evidence_pitch_count + 1> log_posterior{};  // natural logarithms, finite
  std::array<float, evidence_pitch_count> strike{};  // probability that this pitch is struck, 0..1
  std::array<float, evidence_pitch_count> again{};   // the same, given that it sounds already
  std::array<bool, evidence_pitch_count> is_barred{};  // a note of this pitch may not begin
  bool is_closed = false;                              // no note may sound
};

/// Shortest note that the search proposes, in frames (46 ms: a swung eighth at 320 beats a minute
/// lasts 62 ms; the strike of the next note may be heard 10 ms early).
inline constexpr std::size_t shortest_note_frames = 4;

/// The most probable succession of notes and rests, one note at a time. Frames are added one by
/// one; the decision falls at the end. Memory: 26 bytes a frame. One instance a thread.
/// Source: Viterbi, IEEE Trans. Inf. Theory 13(2), 1967, over none and pitch x (attack, sustain);
/// an attack lasts `shortest_note_frames`. Prices of the transitions: constants in the .cpp.
class NotePathSearch {
 public:
  explicit NotePathSearch(std::size_t expected_frame_count);

  void add(const NotePathFrame& frame);

  /// The notes of the best path, in order of time.
  [[nodiscard]] std::vector<PathNote> finish() const;

 private:
  using PitchRow = std::array<double, evidence_pitch_count>;
  struct BestSustain;
  // A frame that attacks reach back to.
  struct Entry {
    PitchRow value{};   // best path that enters the pitch here, without this frame's gain
    PitchRow before{};  // sum of the gains before this frame
    PitchRow unstay{};  // price of not being struck here; the striking frame itself is free of it
  };

  void enter(const NotePathFrame& frame, const BestSustain& best);

  std::size_t frame_count_ = 0;
  std::size_t open_since_ = 0;  // first frame after the last closed one
  double none_ = 0.0;
  PitchRow sustain_{};
  PitchRow sum_{};
  std::array<Entry, shortest_note_frames> ring_{};

  // The ways back, [frame]; bit p stands for pitch p.
  using PitchBits = std::uint64_t;
  static_assert(evidence_pitch_count <= 64);
  std::vector<PitchBits> again_;         // entered while it sounded itself
  std::vector<PitchBits> from_best_;     // entered from `best_`; neither: from none
  std::vector<PitchBits> is_fresh_;      // the attack ends at this frame
  std::vector<std::uint8_t> best_;       // the best pitch that sounds
  std::vector<std::uint8_t> none_from_;  // whence none was entered
};

}  // namespace lowstride::dsp
