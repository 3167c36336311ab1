#pragma once

#include <algorithm>
#include <cmath>

namespace lowstride::audio {

/// A gain that rises to 1 by equal steps in decibels: whoever has the level too high hears it
/// coming, while each attack on the way keeps its shape. 18 dB below to begin with makes loud
/// music about a third as loud (a halving each 10 dB: Stevens's sone scale, ISO 532), and a second
/// is time to reach for the volume.
/// The time begins with the first sample over -60 dB: silence before the music is not counted.
/// Real-time safe.
class FadeIn {
 public:
  static constexpr double begin_db = -18.0;

  /// `seconds` 0: no fade. Stands at 1 until `begin`.
  FadeIn(double seconds, double sample_rate_hz)
      : begin_(seconds > 0.0 ? std::pow(10.0, begin_db / 20.0) : 1.0),
        step_(seconds > 0.0 ? std::pow(10.0, -begin_db / 20.0 / (seconds * sample_rate_hz)) : 1.0) {
  }

  void begin() noexcept { gain_ = begin_; }
  /// The gain of the next sample, `level` of which is its largest absolute value of all channels.
  float next(float level) noexcept {
    const double now = gain_;
    if (gain_ > begin_ || level > silence) gain_ = std::min(1.0, gain_ * step_);
    return static_cast<float>(now);
  }
  [[nodiscard]] bool is_none() const noexcept { return begin_ == 1.0; }
  [[nodiscard]] bool is_over() const noexcept { return gain_ == 1.0; }

 private:
  static constexpr float silence = 1e-3F;

  double begin_;
  double step_;
  double gain_ = 1.0;
};

}  // namespace lowstride::audio
