#pragma once

#include <cstddef>
#include <vector>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/evidence.hpp"
#include "dsp/learned/convolution.hpp"
#include "dsp/learned/frame_queue.hpp"
#include "dsp/learned/weights.hpp"

/// The three nets of dsp/learned/training/nets.py, running through a recording. Frames are appended
/// to the inputs in pieces of any size, `run` appends to `out` whatever can be computed, and the
/// last `run` (`is_last`) all the rest. How the recording is cut does not change a bit.
namespace lowstride::dsp {

/// Harmonic stack and bands at 86 frames a second -> logits of pitch, onset, dead stroke and one
/// guitar. Output lanes:
inline constexpr std::size_t pitch_logit_lane = 0;  // 45 pitches and none
inline constexpr std::size_t onset_logit_lane = evidence_pitch_count + 1;
inline constexpr std::size_t dead_logit_lane = onset_logit_lane + evidence_pitch_count;
inline constexpr std::size_t guitar_logit_lane = dead_logit_lane + 1;
inline constexpr std::size_t pitch_net_lane_count = guitar_logit_lane + 1;

class PitchNet {
 public:
  explicit PitchNet(const Weights& weights);

  /// Log spectra as `FrontEnd` makes them (`spectrum_lane_count`); the stack of harmonics is read
  /// straight from their bins.
  [[nodiscard]] FrameQueue& spectra() noexcept { return c1_.input(); }
  [[nodiscard]] FrameQueue& bands() noexcept { return e1_.input(); }
  void run(FrameQueue& out, bool is_last);

 private:
  void join_bands();
  void summarise();
  void lift();
  void finish_frames();

  Convolution c1_, c2_, c3_, e1_, e2_, join_, join_bands_, pre_, octave_;
  Convolution g1_, g2_, g3_, g4_, lift_, r1_, r2_, out_, f1_, f2_;
  // What waits for a slower branch.
  FrameQueue e_, e_late_, joined_, bands_joined_, h_, h_late_, g_, g_late_, lifted_, refined_;
  FrameQueue out_logits_, frame_logits_;
};

/// Twenty features of twelve pitch classes at 10.8 frames a second (lane = feature * 12 + pitch
/// class) -> logits: 168 chords by `chord_column`, no chord, 12 bass notes.
inline constexpr std::size_t chord_feature_count = 20;
inline constexpr std::size_t chord_input_lane_count = chord_feature_count * pitch_class_count;
inline constexpr std::size_t chord_bass_logit_lane = chord_column_count;
inline constexpr std::size_t chord_net_lane_count = chord_column_count + pitch_class_count;

class ChordNet {
 public:
  explicit ChordNet(const Weights& weights);

  [[nodiscard]] FrameQueue& input() noexcept { return first_.input(); }
  void run(FrameQueue& out, bool is_last);

 private:
  struct Block {
    Convolution a, b;
    FrameQueue waiting, change;
  };

  Convolution first_;
  std::vector<Block> blocks_;
  Convolution out_, none_;
  FrameQueue h_, out_logits_, none_logits_;
};

/// 97 features at 43 frames a second -> logits of beat (lane 0) and downbeat (lane 1).
inline constexpr std::size_t beat_input_lane_count = 97;

class BeatNet {
 public:
  explicit BeatNet(const Weights& weights);

  [[nodiscard]] FrameQueue& input() noexcept { return layers_.front().input(); }
  void run(FrameQueue& out, bool is_last);

 private:
  std::vector<Convolution> layers_;
};

}  // namespace lowstride::dsp
