#include "src/audio/limiter.hpp"

#include <algorithm>
#include <cmath>

namespace lowstride::audio {

Limiter::Limiter(const LimiterOptions& options)
    : ceiling_(options.ceiling),
      release_(1.0 - std::exp(-1.0 / (options.release_seconds * options.sample_rate_hz))),
      window_(static_cast<std::size_t>(
          std::max(1.0, std::round(options.look_ahead_seconds * options.sample_rate_hz)))),
      channel_count_(options.channel_count),
      delay_(window_ * channel_count_),
      smooth_(window_),
      minimum_(window_ + 1) {
  LOWSTRIDE_EXPECTS(channel_count_ > 0 && ceiling_ > 0.0 && release_ > 0.0);
  reset();
}

void Limiter::reset() noexcept {
  std::fill(delay_.begin(), delay_.end(), 0.0F);
  std::fill(smooth_.begin(), smooth_.end(), 1.0);
  minimum_begin_ = 0;
  minimum_count_ = 0;
  place_ = 0;
  gain_ = 1.0;
  gain_sum_ = static_cast<double>(window_);
  has_limited_ = false;
}

/// The smallest of the last `window_` gains. A gain that is not smaller than a later one never
/// matters again, so that what is kept rises from its first on.
double Limiter::held_minimum(double gain) noexcept {
  const std::size_t size = minimum_.size();
  while (minimum_count_ > 0 &&
         minimum_[(minimum_begin_ + minimum_count_ - 1) % size].gain >= gain) {
    --minimum_count_;
  }
  minimum_[(minimum_begin_ + minimum_count_) % size] = {gain, place_};
  ++minimum_count_;
  if (minimum_[minimum_begin_].place + window_ <= place_) {
    minimum_begin_ = (minimum_begin_ + 1) % size;
    --minimum_count_;
  }
  return minimum_[minimum_begin_].gain;
}

void Limiter::process(dsp::MutableAudioView block) noexcept {
  for (std::size_t i = 0; i < block.sample_count; ++i) {
    const std::size_t slot = place_ % window_;
    float* const oldest = &delay_[((place_ + 1) % window_) * channel_count_];
    double peak = 0.0;
    for (std::size_t c = 0; c < channel_count_; ++c) {
      const float value = block.channels[c][i];
      const float finite = std::isfinite(value) ? value : 0.0F;
      delay_[slot * channel_count_ + c] = finite;
      peak = std::max(peak, std::abs(static_cast<double>(finite)));
    }
    if (peak > ceiling_) has_limited_ = true;
    const double needed = peak > ceiling_ ? ceiling_ / peak : 1.0;
    const double held = held_minimum(needed);
    gain_ = std::min(held, gain_ + release_ * (1.0 - gain_));
    if (gain_ > 1.0 - 1e-9)
      gain_ = 1.0;  // back to unity for good, so that samples pass as they are
    gain_sum_ += gain_ - smooth_[slot];
    smooth_[slot] = gain_;
    const double average = std::min(gain_sum_ / static_cast<double>(window_), 1.0);
    for (std::size_t c = 0; c < channel_count_; ++c) {
      const double limited = std::clamp(oldest[c] * average, -ceiling_, ceiling_);
      block.channels[c][i] = average == 1.0 && std::abs(oldest[c]) <= ceiling_
                                 ? oldest[c]
                                 : static_cast<float>(limited);
    }
    ++place_;
  }
}

}  // namespace lowstride::audio
