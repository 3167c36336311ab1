#include "dsp/voices/low_voice.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {

namespace {

constexpr double highest_hz = 3500.0;  // over it a bass has nothing but the noise of the attack
constexpr double whole_hz = 160.0;     // under it nothing else sounds: a partial passes whole
// While a note sounds, all under this belongs to it: its body's thump, its attack. Chords of piano
// and guitar begin at about C3 (131 Hz), by common practice of accompanying.
constexpr double floor_hz = 115.0;
constexpr double floor_slope_hz = 25.0;
constexpr float most_over_mean = 1.4F;  // 3 dB
constexpr float half_octave = 0.5F;
constexpr double stiffness = 1e-4;
constexpr std::size_t most_partials = 64;
constexpr double lead_seconds = 0.03;   // the mask opens before the onset, which may be a bit late
constexpr double trail_seconds = 0.06;  // and closes after the string has been stopped
constexpr double half_width_cents = 20.0;

std::size_t window_samples(double sample_rate_hz) {
  // A power of two near 186 ms: partials 41 Hz apart (E1) leave room for others between them.
  return static_cast<std::size_t>(std::exp2(std::round(std::log2(0.1858 * sample_rate_hz))));
}

}  // namespace

LowVoice::LowVoice(const LowVoiceOptions& options)
    : options_(options),
      fft_(window_samples(options.sample_rate_hz)),
      hop_(fft_.size() / 4),
      window_(hann_window(fft_.size())),
      input_(options.channel_count, std::vector<float>(fft_.size())),
      output_(options.channel_count, std::vector<float>(fft_.size())),
      bins_(options.channel_count, std::vector<std::complex<float>>(fft_.bin_count())),
      frame_(fft_.size()),
      power_(fft_.bin_count()),
      mask_(fft_.bin_count()),
      band_mask_(fft_.bin_count()),
      partials_(most_partials) {
  LOWSTRIDE_EXPECTS(options.channel_count > 0 && options.sample_rate_hz >= 8000.0);
  // Windowed before and after: four Hann windows squared a quarter apart sum to 1.5.
  scale_ = 1.0F / 1.5F;
  const double bin_hz = options.sample_rate_hz / static_cast<double>(fft_.size());
  for (std::size_t k = 0; k < band_mask_.size(); ++k) {
    const double x =
        (static_cast<double>(k) * bin_hz / options.band_hz - 0.75) / 0.5;  // 0..1 down the slope
    band_mask_[k] =
        static_cast<float>(0.5 + 0.5 * std::cos(std::numbers::pi * std::clamp(x, 0.0, 1.0)));
  }
  restart(0);
}

void LowVoice::restart(std::int64_t place) noexcept {
  LOWSTRIDE_EXPECTS(place % static_cast<std::int64_t>(hop_) == 0);
  place_ = place;
  for (auto* buffers : {&input_, &output_}) {
    for (auto& buffer : *buffers) std::fill(buffer.begin(), buffer.end(), 0.0F);
  }
}

void LowVoice::mask_note(const LowVoiceNote& note, float share) noexcept {
  const double bin_hz = options_.sample_rate_hz / static_cast<double>(fft_.size());
  const double limit_hz = std::min(highest_hz, 0.45 * options_.sample_rate_hz);
  const auto partial_hz = [&](std::size_t number) {
    const auto k = static_cast<double>(number);
    return k * note.f0_hz * std::sqrt(1.0 + stiffness * k * k);
  };
  std::size_t count = 0;
  while (count < most_partials && partial_hz(count + 1) < limit_hz) ++count;
  for (std::size_t i = 0; i < count; ++i) {
    const auto k = static_cast<std::size_t>(std::lround(partial_hz(i + 1) / bin_hz));
    partials_[i] =
        std::sqrt(std::max({power_[k - std::min<std::size_t>(k, 1)], power_[k], power_[k + 1]}));
  }
  const auto floor_end =
      std::min(mask_.size(), static_cast<std::size_t>((floor_hz + floor_slope_hz) / bin_hz) + 1);
  for (std::size_t k = 0; k < floor_end; ++k) {
    const double over = (static_cast<double>(k) * bin_hz - floor_hz) / floor_slope_hz;
    mask_[k] = std::max(mask_[k], share * static_cast<float>(std::clamp(1.0 - over, 0.0, 1.0)));
  }
  const double widening = std::exp2(half_width_cents / 1200.0) - 1.0;
  for (std::size_t i = 0; i < count; ++i) {
    const double hz = partial_hz(i + 1);
    float gain = 1.0F;
    // A fundamental is often far over the rest.
    if (hz > whole_hz && i > 0) {
      // Mean over the other partials within half an octave, but at least the next ones below and
      // above; nearer ones count more.
      const auto next =
          static_cast<float>(std::log2(static_cast<double>(i + 1) / static_cast<double>(i)));
      const float reach = std::max(half_octave, 1.01F * next);
      float sum = 0.0F;
      float weights = 0.0F;
      for (std::size_t other = 0; other < count; ++other) {
        const auto distance = static_cast<float>(
            std::abs(std::log2(static_cast<double>(other + 1) / static_cast<double>(i + 1))));
        if (other == i || distance > reach) continue;
        const float weight = 1.0F - 0.5F * distance / reach;
        sum += weight * partials_[other];
        weights += weight;
      }
      // A string's own partials differ by a few decibels, by the place of the pluck.
      const float most = most_over_mean * sum / std::max(weights, 1e-6F);
      gain = partials_[i] > most ? most / partials_[i] : 1.0F;
    }
    // Flat over most of the window's main lobe (2 bins each way), then down within a bin.
    const double half = std::max(1.5 * bin_hz, widening * hz);
    const double slope = bin_hz;
    const auto first = static_cast<std::size_t>(std::max(0.0, (hz - half - slope) / bin_hz));
    const std::size_t last =
        std::min(mask_.size() - 1, static_cast<std::size_t>((hz + half + slope) / bin_hz) + 1);
    for (std::size_t k = first; k <= last; ++k) {
      const double off = std::abs(static_cast<double>(k) * bin_hz - hz) - half;
      const auto value = gain * share * static_cast<float>(std::clamp(1.0 - off / slope, 0.0, 1.0));
      mask_[k] = std::max(mask_[k], value);
    }
  }
}

void LowVoice::make_mask(std::int64_t centre) noexcept {
  if (options_.notes.empty()) {
    mask_ = band_mask_;
    return;
  }
  std::fill(mask_.begin(), mask_.end(), 0.0F);
  const double rate = options_.sample_rate_hz;
  const auto reach = static_cast<std::int64_t>(fft_.size() / 2);
  const auto first = std::partition_point(
      options_.notes.begin(), options_.notes.end(), [&](const LowVoiceNote& note) {
        return static_cast<double>(note.offset_samples) + trail_seconds * rate <
               static_cast<double>(centre - reach);
      });
  for (auto note = first; note != options_.notes.end(); ++note) {
    const double begin = static_cast<double>(note->onset_samples) - lead_seconds * rate;
    const double end = static_cast<double>(note->offset_samples) + trail_seconds * rate;
    if (begin > static_cast<double>(centre + reach)) break;
    // Open while the centre half of the frame touches the note, with a slope of an eighth window.
    const double slope = static_cast<double>(reach) / 4.0;
    const double outside =
        std::max(begin - static_cast<double>(centre), static_cast<double>(centre) - end);
    const double share = std::clamp(1.0 - (outside - slope) / slope, 0.0, 1.0);
    if (share > 0.0) mask_note(*note, static_cast<float>(share));
  }
}

void LowVoice::step(AudioView in, MutableAudioView low) noexcept {
  LOWSTRIDE_EXPECTS(in.sample_count == hop_ && low.sample_count == hop_);
  LOWSTRIDE_EXPECTS(in.channel_count() == input_.size() && low.channel_count() == input_.size());
  const auto hop = static_cast<std::ptrdiff_t>(hop_);
  place_ += static_cast<std::int64_t>(hop_);
  std::fill(power_.begin(), power_.end(), 0.0F);
  for (std::size_t c = 0; c < input_.size(); ++c) {
    std::vector<float>& newest = input_[c];
    std::copy(newest.begin() + hop, newest.end(), newest.begin());
    std::copy_n(in.channels[c], hop, newest.end() - hop);
    for (std::size_t n = 0; n < frame_.size(); ++n) frame_[n] = newest[n] * window_[n];
    fft_.forward(frame_, bins_[c]);
    for (std::size_t k = 0; k < power_.size(); ++k) power_[k] += std::norm(bins_[c][k]);
  }
  make_mask(place_ - static_cast<std::int64_t>(fft_.size() / 2));
  for (std::size_t c = 0; c < input_.size(); ++c) {
    for (std::size_t k = 0; k < mask_.size(); ++k) bins_[c][k] *= mask_[k];
    fft_.inverse(bins_[c], frame_);
    std::vector<float>& sum = output_[c];
    std::copy(sum.begin() + hop, sum.end(), sum.begin());
    std::fill(sum.end() - hop, sum.end(), 0.0F);
    for (std::size_t n = 0; n < frame_.size(); ++n) sum[n] += scale_ * window_[n] * frame_[n];
    std::copy_n(sum.begin(), hop, low.channels[c]);
  }
}

}  // namespace lowstride::dsp
