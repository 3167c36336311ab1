#pragma once

#include <cstddef>
#include <vector>

#include "dsp/base/audio_view.hpp"

namespace lowstride::audio {

struct LimiterOptions {
  double sample_rate_hz = 48000.0;
  std::size_t channel_count = 2;
  double ceiling = 1.0;              // no output sample is larger
  double look_ahead_seconds = 5e-3;  // the gain goes down over this time, before the peak
  double release_seconds = 0.15;     // and comes back with this time constant
};

/// Keeps peaks within full scale by turning the sound down smoothly before each of them, all
/// channels alike. While no peak is over the ceiling, samples pass unchanged, bit by bit.
/// Each sample comes out `latency_samples()` after it went in; `process` begins with that many
/// zeros, which the caller drops, and is fed as many zeros at the end.
/// The constructor takes all memory; `process` and `reset` are real-time safe. What is not finite
/// becomes 0. The gain is the moving average of a held minimum (a common practice of look-ahead
/// limiters): over each peak the averaged window holds only gains that bring it under the ceiling.
class Limiter {
 public:
  /// Requires 1 or more channels, a ceiling over 0, positive times.
  explicit Limiter(const LimiterOptions& options);

  [[nodiscard]] std::size_t latency_samples() const noexcept { return window_ - 1; }

  /// Replaces `block` by what went in `latency_samples()` earlier, limited.
  void process(dsp::MutableAudioView block) noexcept;
  void reset() noexcept;

  /// Whether any peak has been over the ceiling since construction or `reset`.
  [[nodiscard]] bool has_limited() const noexcept { return has_limited_; }

 private:
  struct Held {
    double gain = 1.0;
    std::size_t place = 0;  // count of samples
  };

  double held_minimum(double gain) noexcept;

  double ceiling_;
  double release_;      // share of the way back to unity in one sample
  std::size_t window_;  // samples
  std::size_t channel_count_;
  std::vector<float> delay_;    // [window_][channel_count_], a ring
  std::vector<double> smooth_;  // the last window_ gains, a ring
  std::vector<Held> minimum_;   // rising gains whose first is the minimum of the window, a ring
  std::size_t minimum_begin_ = 0;
  std::size_t minimum_count_ = 0;
  std::size_t place_ = 0;
  double gain_ = 1.0;
  double gain_sum_ = 0.0;
  bool has_limited_ = false;
};

}  // namespace lowstride::audio
