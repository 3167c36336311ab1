#include "dsp/stretch/resampler.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace lowstride::dsp::stretch {

namespace {

constexpr std::size_t crossings = 20;  // zero crossings on each side
constexpr std::size_t phases = 512;    // linear interpolation between them errs below -100 dB
constexpr double kaiser_beta = 9.0;

}  // namespace

Resampler::Resampler() : table_(crossings * phases + 2, 0.0F) {
  const double scale = std::cyl_bessel_i(0.0, kaiser_beta);
  for (std::size_t n = 0; n <= crossings * phases; ++n) {
    const double x = static_cast<double>(n) / static_cast<double>(phases);
    const double edge = x / static_cast<double>(crossings);
    const double window =
        std::cyl_bessel_i(0.0, kaiser_beta * std::sqrt(std::max(0.0, 1.0 - edge * edge))) / scale;
    const bool on_crossing = n != 0 && n % phases == 0;
    const double sinc = n == 0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
    table_[n] = on_crossing ? 0.0F : static_cast<float>(sinc * window);
  }
}

std::size_t Resampler::reach_samples(double step) noexcept {
  return static_cast<std::size_t>(std::ceil(static_cast<double>(crossings) * std::max(1.0, step))) +
         1;
}

float Resampler::value(const SampleRing& ring, std::size_t channel, double place,
                       double step) const noexcept {
  const double whole = std::floor(place);
  const auto base = static_cast<Place>(whole);
  if (step <= 1.0 && place == whole) return ring.at(channel, base);
  // The pass band ends a little under the new Nyquist frequency, so that the slope folds back
  // onto what is nearly inaudible only.
  const double narrow = step > 1.0 ? 0.94 / step : 1.0;
  const auto reach = static_cast<Place>(std::ceil(static_cast<double>(crossings) / narrow));
  const double fraction = place - whole;
  double sum = 0.0;
  for (Place tap = 1 - reach; tap <= reach; ++tap) {
    const double x = std::abs(static_cast<double>(tap) - fraction) * narrow;
    if (x >= static_cast<double>(crossings)) continue;
    const double position = x * static_cast<double>(phases);
    const auto index = static_cast<std::size_t>(position);
    const double share = position - static_cast<double>(index);
    const double weight = static_cast<double>(table_[index]) * (1.0 - share) +
                          static_cast<double>(table_[index + 1]) * share;
    sum += weight * static_cast<double>(ring.at(channel, base + tap));
  }
  return static_cast<float>(sum * narrow);
}

}  // namespace lowstride::dsp::stretch
