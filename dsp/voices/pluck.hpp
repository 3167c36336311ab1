#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace lowstride::dsp {

struct PluckOptions {
  double sample_rate_hz = 44100.0;
  double lowest_hz = 20.0;  // lowest note that will be struck; B0 tuned low is 30 Hz
};

/// One stroke. Frequencies out of lowest_hz .. a sixth of the sample rate are brought to its
/// nearest end.
struct PluckNote {
  double f0_hz = 55.0;
  double strength = 1.0;   // 0..1: height of the first wave, and how bright it is
  double decay_scale = 1;  // over 0: 1 rings as a string does, less is muted by a hand
};

/// A plucked string as a physical model: a wave runs round a delay line one period long, through a
/// filter that takes more from the high partials than from the low ones.
/// Source: Karplus & Strong, "Digital synthesis of plucked-string and drum timbres", Computer Music
/// J. 7(2), 1983, with the tuning by a first-order allpass, the place of the pluck and the decay
/// times of Jaffe & Smith, "Extensions of the Karplus-Strong plucked-string algorithm", same issue.
/// Here the pluck is a smooth pulse and its opposite, a fifth of the string later, not noise, so
/// that each stroke sounds alike. The pitch is within a cent from B0 to the top of a guitar.
/// The constructor takes all memory; everything else is real-time safe. One instance a thread.
class PluckedString {
 public:
  /// Requires a sample rate of 8000 or more and 0 < lowest_hz < sample rate / 16.
  explicit PluckedString(const PluckOptions& options);

  /// Plucks the string; what it did before is gone, so let it fade with `damp` on another string.
  void strike(const PluckNote& note) noexcept;
  /// The hand stops it: it dies away by 60 dB within 70 ms.
  void damp() noexcept;
  /// As if it had just been constructed.
  void reset() noexcept;

  /// False when nothing is heard any more (under -90 dB).
  [[nodiscard]] bool is_sounding() const noexcept { return is_sounding_; }

  /// Adds the string's next `out.size()` samples, times `gain`. Peaks are near `strength`.
  void add_to(std::span<float> out, float gain = 1.0F) noexcept;

 private:
  [[nodiscard]] double excitation(std::size_t place) const noexcept;

  PluckOptions options_;
  std::vector<float> line_;
  std::size_t period_ = 0;  // whole samples of the delay line
  std::size_t place_ = 0;   // in the line
  std::size_t age_ = 0;     // samples since the stroke
  double loop_gain_ = 0.0;
  double pole_ = 0.0;  // of the loop's low-pass
  double low_pass_state_ = 0.0;
  double allpass_ = 0.0;
  double allpass_in_ = 0.0;
  double allpass_out_ = 0.0;
  double pulse_samples_ = 1.0;
  double echo_samples_ = 1.0;  // where the opposite pulse begins
  double strength_ = 0.0;
  double release_ = 1.0;  // per sample once damped
  double envelope_ = 1.0;
  double loudest_ = 0.0;  // in the period under way
  bool is_sounding_ = false;
};

}  // namespace lowstride::dsp
