#include "dsp/stretch/band_splitter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp::stretch {

namespace {

/// Low-pass with its -6 dB point at `corner_hz` and 74 dB of stop-band (Blackman window, Harris
/// 1978); the transition is about as wide as two thirds of the corner.
std::vector<float> low_pass(double corner_hz, double sample_rate_hz) {
  const double width_hz = corner_hz * 0.65;
  const auto half = static_cast<std::size_t>(std::ceil(0.5 * 5.5 * sample_rate_hz / width_hz));
  const std::size_t count = 2 * half + 1;
  std::vector<double> taps(count);
  double sum = 0.0;
  const double corner = 2.0 * corner_hz / sample_rate_hz;
  for (std::size_t n = 0; n < count; ++n) {
    const double t = static_cast<double>(n) - static_cast<double>(half);
    const double x = std::numbers::pi * t;
    const double sinc = t == 0.0 ? corner : std::sin(corner * x) / x;
    const double phase =
        2.0 * std::numbers::pi * static_cast<double>(n + 1) / static_cast<double>(count + 1);
    taps[n] = sinc * (0.42 - 0.5 * std::cos(phase) + 0.08 * std::cos(2.0 * phase));
    sum += taps[n];
  }
  std::vector<float> result(count);
  std::transform(taps.begin(), taps.end(), result.begin(),
                 [sum](double tap) { return static_cast<float>(tap / sum); });
  return result;
}

}  // namespace

BandSplitter::BandSplitter(const BandSplitterOptions& options) {
  LOWSTRIDE_EXPECTS(!options.crossovers_hz.empty());
  LOWSTRIDE_EXPECTS(std::is_sorted(options.crossovers_hz.begin(), options.crossovers_hz.end()));
  for (const double corner_hz : options.crossovers_hz) {
    filters_.push_back(low_pass(corner_hz, options.sample_rate_hz));
    read_ahead_ += filters_.back().size() / 2;
  }
  source_.resize(max_step_samples + 2 * read_ahead_);
  low_.resize(source_.size());
}

void BandSplitter::advance(const SampleRing& input, std::vector<SampleRing>& bands) noexcept {
  LOWSTRIDE_EXPECTS(bands.size() == band_count());
  Place left = input.end() - static_cast<Place>(read_ahead_) - bands.front().end();
  while (left > 0) {
    const auto count =
        static_cast<std::size_t>(std::min<Place>(left, static_cast<Place>(max_step_samples)));
    split_step(input, bands, count);
    left -= static_cast<Place>(count);
  }
}

void BandSplitter::split_step(const SampleRing& input, std::vector<SampleRing>& bands,
                              std::size_t count) noexcept {
  const Place begin = bands.front().end();
  for (std::size_t channel = 0; channel < input.channel_count(); ++channel) {
    // What is left to split, with the reach of the filters still to come on both sides.
    std::size_t reach = read_ahead_;
    std::size_t length = count + 2 * reach;
    input.read(channel, begin - static_cast<Place>(reach), {source_.data(), length});
    for (std::size_t band = 0; band < filters_.size(); ++band) {
      const auto& taps = filters_[band];
      const std::size_t half = taps.size() / 2;
      const std::size_t kept = length - 2 * half;
      float* const low = low_.data();
      float* const source = source_.data();
      std::fill_n(low, kept, 0.0F);
      for (std::size_t tap = 0; tap < taps.size(); ++tap) {
        const float weight = taps[tap];
        const float* const shifted = source + tap;
        for (std::size_t n = 0; n < kept; ++n) low[n] += weight * shifted[n];
      }
      for (std::size_t n = 0; n < kept; ++n) source[n] = source[n + half] - low[n];
      reach -= half;
      length = kept;
      for (std::size_t n = 0; n < count; ++n) {
        bands[band].slot(channel, begin + static_cast<Place>(n)) = low[reach + n];
      }
    }
    for (std::size_t n = 0; n < count; ++n) {
      bands.back().slot(channel, begin + static_cast<Place>(n)) = source_[n];
    }
  }
  for (auto& band : bands) band.advance(count);
}

}  // namespace lowstride::dsp::stretch
