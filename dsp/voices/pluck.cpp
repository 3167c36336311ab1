#include "dsp/voices/pluck.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

namespace {

constexpr double pluck_place = 0.19;  // of the string's length, from the bridge
constexpr double bright_hz = 2000.0;  // where the second decay time is set
constexpr double inaudible = 3e-5;    // -90 dB
constexpr double release_seconds = 0.07;

/// Seconds for 60 dB, by ear after basses and guitars: low strings ring longer.
double decay_seconds(double f0_hz) { return std::clamp(5.0 * std::sqrt(41.2 / f0_hz), 1.2, 6.0); }

/// Delay in samples of the one-pole low-pass (1 - p) / (1 - p z^-1) at `omega`.
double low_pass_delay(double pole, double omega) {
  return std::atan2(pole * std::sin(omega), 1.0 - pole * std::cos(omega)) / omega;
}

/// Pole for which that filter has the power gain `power` at `omega`.
double pole_for(double power, double omega) {
  const double b = 1.0 - power * std::cos(omega);
  const double a = 1.0 - power;
  return a <= 0.0 ? 0.0 : (b - std::sqrt(std::max(0.0, b * b - a * a))) / a;
}

}  // namespace

PluckedString::PluckedString(const PluckOptions& options)
    : options_(options),
      line_(static_cast<std::size_t>(options.sample_rate_hz / options.lowest_hz) + 4, 0.0F) {
  LOWSTRIDE_EXPECTS(options.sample_rate_hz >= 8000.0);
  LOWSTRIDE_EXPECTS(options.lowest_hz > 0.0 && options.lowest_hz < options.sample_rate_hz / 16.0);
}

void PluckedString::strike(const PluckNote& note) noexcept {
  const double rate = options_.sample_rate_hz;
  const double f0 = std::clamp(note.f0_hz, options_.lowest_hz, rate / 6.0);
  const double omega = 2.0 * std::numbers::pi * f0 / rate;
  const double whole = rate / f0;
  const double scale = std::max(note.decay_scale, 1e-3);
  strength_ = std::clamp(note.strength, 0.0, 1.0);

  // Over one period a partial that dies by 60 dB in T seconds keeps 10^(-3 / (f0 T)).
  const double low_gain = std::pow(10.0, -3.0 / (f0 * decay_seconds(f0) * scale));
  const double high_seconds = (0.25 + 0.35 * strength_) * std::min(1.0, scale);
  const double bright = std::clamp(bright_hz, 4.0 * f0, rate / 3.0);
  const double high_gain = std::min(std::pow(10.0, -3.0 / (f0 * high_seconds)), low_gain);
  pole_ = std::min(0.9, pole_for(high_gain * high_gain / (low_gain * low_gain),
                                 2.0 * std::numbers::pi * bright / rate));
  const double at_f0 =
      (1.0 - pole_) / std::sqrt(1.0 - 2.0 * pole_ * std::cos(omega) + pole_ * pole_);
  loop_gain_ = std::min(low_gain / at_f0, 0.99999);

  // The allpass gives what the whole samples leave over: 0.3 to 1.3, where its delay is even.
  const double left = whole - low_pass_delay(pole_, omega);
  const double steps = std::max(1.0, std::floor(left - 0.3));
  const double fraction = left - steps;
  period_ = std::min(static_cast<std::size_t>(steps), line_.size());
  allpass_ = std::sin((1.0 - fraction) * omega / 2.0) / std::sin((1.0 + fraction) * omega / 2.0);

  pulse_samples_ =
      std::max(3.0, std::clamp(0.1 / f0, 0.35e-3, 2.2e-3) * (1.6 - 0.6 * strength_) * rate);
  echo_samples_ = std::max(1.0, pluck_place * whole);
  std::fill_n(line_.begin(), static_cast<std::ptrdiff_t>(period_), 0.0F);
  place_ = 0;
  age_ = 0;
  low_pass_state_ = allpass_in_ = allpass_out_ = 0.0;
  envelope_ = 1.0;
  release_ = 1.0;
  loudest_ = 1.0;
  is_sounding_ = strength_ > 0.0;
}

void PluckedString::damp() noexcept {
  release_ = std::pow(10.0, -3.0 / (release_seconds * options_.sample_rate_hz));
}

void PluckedString::reset() noexcept {
  is_sounding_ = false;
  age_ = 0;
}

/// A smooth pulse and, later, its opposite: the two waves that leave a plucked point.
double PluckedString::excitation(std::size_t place) const noexcept {
  const auto pulse = [&](double x) {
    return x <= 0.0 || x >= pulse_samples_
               ? 0.0
               : 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * x / pulse_samples_);
  };
  const auto x = static_cast<double>(place);
  return strength_ * (pulse(x) - pulse(x - echo_samples_));
}

void PluckedString::add_to(std::span<float> out, float gain) noexcept {
  if (!is_sounding_) return;
  const double excited_until = pulse_samples_ + echo_samples_ + 1.0;
  for (float& value : out) {
    double wave = static_cast<double>(line_[place_]);
    low_pass_state_ = loop_gain_ * (1.0 - pole_) * wave + pole_ * low_pass_state_;
    const double turned = allpass_ * low_pass_state_ + allpass_in_ - allpass_ * allpass_out_;
    allpass_in_ = low_pass_state_;
    allpass_out_ = turned;
    wave = turned;
    if (static_cast<double>(age_) < excited_until) wave += excitation(age_);
    line_[place_] = static_cast<float>(wave);
    value += static_cast<float>(wave * envelope_) * gain;
    envelope_ *= release_;
    loudest_ = std::max(loudest_, std::abs(wave));
    ++age_;
    if (++place_ < period_) continue;
    place_ = 0;
    if (loudest_ * envelope_<inaudible&& static_cast<double>(age_)> excited_until) {
      is_sounding_ = false;
      return;
    }
    loudest_ = 0.0;
  }
}

}  // namespace lowstride::dsp
