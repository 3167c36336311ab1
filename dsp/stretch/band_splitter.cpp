#include "dsp/stretch/band_splitter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"
#include "dsp/stretch/good_fft_size.hpp"

namespace lowstride::dsp::stretch {

namespace {

std::size_t half_length(double corner_hz, double sample_rate_hz) {
  const double width_hz = corner_hz * 0.65;
  return static_cast<std::size_t>(std::ceil(0.5 * 5.5 * sample_rate_hz / width_hz));
}

/// Low-pass with its -6 dB point at `corner_hz` and 74 dB of stop-band (Blackman window, Harris
/// 1978); the transition is about as wide as two thirds of the corner.
std::vector<double> low_pass(double corner_hz, double sample_rate_hz) {
  const std::size_t half = half_length(corner_hz, sample_rate_hz);
  const std::size_t count = 2 * half + 1;
  std::vector<double> taps(count);
  double sum = 0.0;
  const double corner = 2.0 * corner_hz / sample_rate_hz;
  for (std::size_t n = 0; n < count; ++n) {
    const double t = static_cast<double>(n) - static_cast<double>(half);
    const double x = std::numbers::pi * t;
    const double sinc = n == half ? corner : std::sin(corner * x) / x;
    const double phase =
        2.0 * std::numbers::pi * static_cast<double>(n + 1) / static_cast<double>(count + 1);
    taps[n] = sinc * (0.42 - 0.5 * std::cos(phase) + 0.08 * std::cos(2.0 * phase));
    sum += taps[n];
  }
  for (double& tap : taps) tap /= sum;
  return taps;
}

std::size_t total_reach(const BandSplitterOptions& options) {
  std::size_t reach = 0;
  for (const double corner_hz : options.crossovers_hz) {
    reach += half_length(corner_hz, options.sample_rate_hz);
  }
  return reach;
}

}  // namespace

BandSplitter::BandSplitter(const BandSplitterOptions& options)
    : reach_(total_reach(options)),
      fft_(good_fft_size(4 * reach_)),
      block_(fft_.size() - 2 * reach_),
      source_(fft_.size()),
      filtered_(fft_.size()),
      rest_(fft_.size()),
      spectrum_(fft_.bin_count()),
      product_(fft_.bin_count()) {
  LOWSTRIDE_EXPECTS(!options.crossovers_hz.empty());
  LOWSTRIDE_EXPECTS(std::is_sorted(options.crossovers_hz.begin(), options.crossovers_hz.end()));
  // Each band is the low-passed rest of the ones below it.
  std::vector<double> left(fft_.bin_count(), 1.0);
  for (const double corner_hz : options.crossovers_hz) {
    const auto taps = low_pass(corner_hz, options.sample_rate_hz);
    const std::size_t half = taps.size() / 2;
    std::fill(source_.begin(), source_.end(), 0.0F);
    for (std::size_t n = 0; n < taps.size(); ++n) {
      source_[(n + source_.size() - half) % source_.size()] = static_cast<float>(taps[n]);
    }
    fft_.forward(source_, spectrum_);
    std::vector<float> response(fft_.bin_count());
    for (std::size_t k = 0; k < response.size(); ++k) {
      const auto passed = static_cast<double>(spectrum_[k].real());
      response[k] = static_cast<float>(left[k] * passed);
      left[k] *= 1.0 - passed;
    }
    responses_.push_back(std::move(response));
  }
}

void BandSplitter::advance(const SampleRing& input, std::vector<SampleRing>& bands) noexcept {
  LOWSTRIDE_EXPECTS(bands.size() == band_count());
  const auto span = static_cast<Place>(block_ + reach_);
  while (bands.front().end() + span <= input.end()) split_block(input, bands);
}

void BandSplitter::split_block(const SampleRing& input, std::vector<SampleRing>& bands) noexcept {
  const Place begin = bands.front().end();
  const auto inside = static_cast<std::ptrdiff_t>(reach_);
  const auto count = static_cast<std::ptrdiff_t>(block_);
  for (std::size_t channel = 0; channel < input.channel_count(); ++channel) {
    input.read(channel, begin - static_cast<Place>(reach_), source_);
    std::copy_n(source_.begin() + inside, count, rest_.begin());
    fft_.forward(source_, spectrum_);
    for (std::size_t band = 0; band < responses_.size(); ++band) {
      const auto& response = responses_[band];
      for (std::size_t k = 0; k < product_.size(); ++k) product_[k] = spectrum_[k] * response[k];
      fft_.inverse(product_, filtered_);
      const auto kept = std::span<const float>(filtered_).subspan(reach_, block_);
      for (std::size_t n = 0; n < block_; ++n) rest_[n] -= kept[n];
      bands[band].write(channel, begin, kept);
    }
    bands.back().write(channel, begin, std::span<const float>(rest_).first(block_));
  }
  for (auto& band : bands) band.advance(block_);
}

}  // namespace lowstride::dsp::stretch
