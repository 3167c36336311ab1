#include "tests/stretch/signals.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

namespace lowstride::test {

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

/// The partial as a complex envelope every `step_seconds`.
std::vector<std::complex<double>> brought_down(std::span<const float> signal, Partial partial,
                                               double sample_rate_hz, double step_seconds = 0.02) {
  const auto half = static_cast<std::size_t>(2.0 * sample_rate_hz / partial.spacing_hz);
  const auto step = static_cast<std::size_t>(step_seconds * sample_rate_hz);
  std::vector<std::complex<double>> result;
  for (std::size_t centre = signal.size() / 4 + half; centre + half < signal.size() * 3 / 4;
       centre += step) {
    std::complex<double> sum{};
    double weights = 0.0;
    for (std::size_t n = centre - half; n < centre + half; ++n) {
      const double share =
          (static_cast<double>(n) - static_cast<double>(centre)) / static_cast<double>(half);
      const double weight = 0.5 + 0.5 * std::cos(std::numbers::pi * share);
      const double phase = -two_pi * partial.hz * static_cast<double>(n) / sample_rate_hz;
      sum += weight * static_cast<double>(signal[n]) * std::polar(1.0, phase);
      weights += weight;
    }
    result.push_back(2.0 * sum / weights);
  }
  return result;
}

}  // namespace

std::vector<float> noise(std::size_t count, unsigned seed) {
  std::mt19937 engine(seed);
  std::vector<float> result(count);
  for (float& value : result) {
    value = static_cast<float>(static_cast<double>(engine()) / 2147483648.0 - 1.0);
  }
  return result;
}

std::vector<float> steady_tone(double f0_hz, double seconds, int partial_count) {
  std::vector<float> result(static_cast<std::size_t>(seconds * rate_hz));
  const auto fade = static_cast<std::size_t>(0.03 * rate_hz);
  for (std::size_t n = 0; n < result.size(); ++n) {
    double sum = 0.0;
    for (int k = 1; k <= partial_count; ++k) {
      const double phase = two_pi * f0_hz * k * static_cast<double>(n) / rate_hz + 1.7 * k * k;
      sum += std::sin(phase) / std::pow(k, 0.8);
    }
    const std::size_t edge = std::min({n, result.size() - 1 - n, fade});
    const double share = static_cast<double>(edge) / static_cast<double>(fade);
    result[n] = static_cast<float>(0.25 * sum * (0.5 - 0.5 * std::cos(std::numbers::pi * share)));
  }
  return result;
}

std::vector<float> plucked_tone(double f0_hz, double onset_seconds, double seconds) {
  std::vector<float> result(static_cast<std::size_t>(seconds * rate_hz), 0.0F);
  const auto onset = static_cast<std::size_t>(onset_seconds * rate_hz);
  const auto burst = noise(static_cast<std::size_t>(0.02 * rate_hz), 7);
  for (std::size_t n = onset; n < result.size(); ++n) {
    const double t = static_cast<double>(n - onset) / rate_hz;
    double sum = 0.0;
    for (int k = 1; k <= 8; ++k) {
      sum += std::exp(-t * (1.0 + 0.22 * (k - 1)) / 2.6) / k *
             std::sin(two_pi * f0_hz * k * t + 0.9 * k);
    }
    sum *= 0.3 * (1.0 - std::exp(-t / 0.0015));
    if (n - onset < burst.size()) {
      sum += 0.3 * std::exp(-t / 0.003) * static_cast<double>(burst[n - onset]);
    }
    result[n] = static_cast<float>(sum);
  }
  return result;
}

std::vector<float> clicks(std::span<const double> onsets_seconds, double seconds) {
  auto result = noise(static_cast<std::size_t>(seconds * rate_hz), 1);
  for (float& value : result) value *= 1e-4F;
  const auto burst = noise(static_cast<std::size_t>(0.01 * rate_hz), 3);
  for (const double seconds_at : onsets_seconds) {
    const auto onset = static_cast<std::size_t>(seconds_at * rate_hz);
    for (std::size_t n = 0; n < burst.size() && onset + n < result.size(); ++n) {
      result[onset + n] +=
          0.8F * burst[n] * static_cast<float>(std::exp(-static_cast<double>(n) / rate_hz / 0.002));
    }
  }
  return result;
}

Channels run(dsp::Stretcher& stretcher, const dsp::StretchSettings& settings, const Channels& in,
             std::size_t block_samples) {
  Channels out(in.size());
  Channels room(in.size(), std::vector<float>(block_samples));
  std::vector<float*> writable;
  for (auto& channel : room) writable.push_back(channel.data());
  const auto keep = [&](std::size_t count) {
    for (std::size_t c = 0; c < in.size(); ++c) {
      out[c].insert(out[c].end(), room[c].begin(),
                    room[c].begin() + static_cast<std::ptrdiff_t>(count));
    }
  };
  std::size_t used = 0;
  std::vector<const float*> readable(in.size());
  while (used < in.front().size()) {
    const std::size_t count = std::min(block_samples, in.front().size() - used);
    std::size_t done = 0;
    while (done < count) {
      for (std::size_t c = 0; c < in.size(); ++c) readable[c] = in[c].data() + used + done;
      const auto progress =
          stretcher.process(settings, {.channels = readable, .sample_count = count - done},
                            {.channels = writable, .sample_count = block_samples});
      done += progress.consumed_samples;
      keep(progress.produced_samples);
    }
    used += count;
  }
  for (;;) {
    const std::size_t count =
        stretcher.drain({.channels = writable, .sample_count = block_samples});
    if (count == 0) return out;
    keep(count);
  }
}

Channels stretched(const Channels& in, double speed, double pitch_ratio, double sample_rate_hz) {
  dsp::Stretcher stretcher({.sample_rate_hz = sample_rate_hz, .channel_count = in.size()});
  return run(stretcher, {.speed = speed, .pitch_ratio = pitch_ratio}, in);
}

double partial_hz(std::span<const float> signal, Partial partial, double sample_rate_hz) {
  const auto envelope = brought_down(signal, partial, sample_rate_hz);
  double turned = 0.0;
  for (std::size_t i = 1; i < envelope.size(); ++i) {
    turned += std::arg(envelope[i] * std::conj(envelope[i - 1]));
  }
  const double step = std::floor(0.02 * sample_rate_hz) / sample_rate_hz;
  return partial.hz + turned / (static_cast<double>(envelope.size() - 1) * step * two_pi);
}

double modulation_depth(std::span<const float> signal, Partial partial, double sample_rate_hz) {
  const auto envelope = brought_down(signal, partial, sample_rate_hz);
  double mean = 0.0;
  for (const auto& value : envelope) mean += std::abs(value);
  mean /= static_cast<double>(envelope.size());
  double square = 0.0;
  for (const auto& value : envelope) square += std::pow(std::abs(value) - mean, 2.0);
  return std::sqrt(2.0 * square / static_cast<double>(envelope.size())) / mean;
}

double lowest_level(std::span<const float> signal, Partial partial) {
  const auto envelope = brought_down(signal, partial, rate_hz, 0.004);
  double sum = 0.0;
  double lowest = std::abs(envelope.front());
  for (const auto& value : envelope) {
    sum += std::abs(value);
    lowest = std::min(lowest, std::abs(value));
  }
  return lowest * static_cast<double>(envelope.size()) / sum;
}

std::size_t attack_place(std::span<const float> signal, std::size_t from, std::size_t to) {
  const auto width = static_cast<std::size_t>(0.001 * rate_hz);
  const std::size_t end = std::min(to, signal.size());
  std::vector<double> energies;
  double highest = 0.0;
  for (std::size_t n = from; n + width <= end; ++n) {
    energies.push_back(energy(signal.subspan(n, width)));
    highest = std::max(highest, energies.back());
  }
  for (std::size_t n = 0; n < energies.size(); ++n) {
    if (energies[n] >= 0.25 * highest) return from + n;
  }
  return from;
}

double energy(std::span<const float> signal) {
  double sum = 0.0;
  for (const float value : signal) sum += static_cast<double>(value) * static_cast<double>(value);
  return sum;
}

double peak(std::span<const float> signal) {
  double highest = 0.0;
  for (const float value : signal)
    highest = std::max(highest, std::abs(static_cast<double>(value)));
  return highest;
}

}  // namespace lowstride::test
