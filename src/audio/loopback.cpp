#include "src/audio/loopback.hpp"

#include <array>
#include <cmath>
#include <numbers>

namespace lowstride::audio {
namespace {

// Uneven, so that one sweep cannot be taken for another.
constexpr std::array<double, 6> sweep_times{0.20, 0.53, 0.97, 1.31, 1.82, 2.27};
constexpr double sweep_seconds = 0.012;
constexpr double signal_seconds = 2.5;
constexpr double low_hz = 600.0;
constexpr double high_hz = 3000.0;
constexpr double peak = 0.25;
constexpr double longest_seconds = 1.0;
/// The peak has to be this many times as high as the correlation's root mean square elsewhere.
constexpr double clear_ratio = 8.0;

std::vector<float> sweep(double rate_hz) {
  std::vector<float> out(static_cast<std::size_t>(sweep_seconds * rate_hz));
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double t = static_cast<double>(i) / rate_hz;
    const double share = t / sweep_seconds;
    const double phase =
        2.0 * std::numbers::pi * (low_hz * t + 0.5 * (high_hz - low_hz) * t * share);
    out[i] = static_cast<float>(peak * 0.5 * (1.0 - std::cos(2.0 * std::numbers::pi * share)) *
                                std::sin(phase));
  }
  return out;
}

}  // namespace

std::vector<float> loopback_signal(double sample_rate_hz) {
  std::vector<float> signal(static_cast<std::size_t>(signal_seconds * sample_rate_hz), 0.0F);
  const std::vector<float> one = sweep(sample_rate_hz);
  for (const double time : sweep_times) {
    const auto begin = static_cast<std::size_t>(std::llround(time * sample_rate_hz));
    for (std::size_t i = 0; i < one.size(); ++i) signal[begin + i] = one[i];
  }
  return signal;
}

std::optional<double> loopback_latency_seconds(std::span<const float> received,
                                               double sample_rate_hz) {
  const std::vector<float> one = sweep(sample_rate_hz);
  const auto lag_count = static_cast<std::size_t>(longest_seconds * sample_rate_hz);
  double best = 0.0;
  std::size_t best_lag = 0;
  double power = 0.0;
  for (std::size_t lag = 0; lag < lag_count; ++lag) {
    double sum = 0.0;
    for (const double time : sweep_times) {
      const auto begin = static_cast<std::size_t>(std::llround(time * sample_rate_hz)) + lag;
      if (begin + one.size() > received.size()) continue;
      for (std::size_t i = 0; i < one.size(); ++i)
        sum += static_cast<double>(one[i]) * received[begin + i];
    }
    power += sum * sum / static_cast<double>(lag_count);
    // A cable may turn the signal upside down.
    if (std::abs(sum) > best) {
      best = std::abs(sum);
      best_lag = lag;
    }
  }
  if (best <= 0.0 || best < clear_ratio * std::sqrt(power)) return std::nullopt;
  return static_cast<double>(best_lag) / sample_rate_hz;
}

}  // namespace lowstride::audio
