#include "dsp/voices/click.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace lowstride::dsp {

std::vector<float> make_click(const ClickOptions& options) {
  const auto count = static_cast<std::size_t>(options.length_seconds * options.sample_rate_hz);
  std::vector<float> values(std::max<std::size_t>(count, 1));
  double loudest = 0.0;
  std::vector<double> shape(values.size());
  for (std::size_t i = 0; i < shape.size(); ++i) {
    const double t = static_cast<double>(i) / options.sample_rate_hz;
    shape[i] = std::sin(2.0 * std::numbers::pi * options.pitch_hz * t) *
               std::exp(-t / options.decay_seconds);
    loudest = std::max(loudest, std::abs(shape[i]));
  }
  const double gain = loudest > 0.0 ? std::pow(10.0, options.gain_db / 20.0) / loudest : 0.0;
  for (std::size_t i = 0; i < shape.size(); ++i) values[i] = static_cast<float>(gain * shape[i]);
  return values;
}

}  // namespace lowstride::dsp
