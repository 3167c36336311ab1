// Part of BandVocoder: what goes on sounding through a cut.

#include <algorithm>
#include <cmath>

#include "dsp/stretch/band_vocoder.hpp"

namespace lowstride::dsp::stretch {

namespace {

using Complex = std::complex<float>;

// A peak goes on if it is neither much weaker nor stronger after the cut (power ratios of -9 and
// +3 dB: a note that dies away, but not one struck again) and its phase is where it would have
// got to by itself.
constexpr float weakest_ratio = 0.125F;
constexpr float strongest_ratio = 2.0F;
// What is 40 dB under the strongest peak on either side is not missed.
constexpr float least_power = 1e-4F;
constexpr float least_agreement = 0.6F;  // cosine of the phase error: 53 degrees
constexpr std::size_t lobe_bins = 3;     // half the main lobe of Blackman's window
constexpr Place prediction_steps = 8;    // a power of two

Complex product(Complex a, Complex b) noexcept {
  return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

Complex unit(Complex value) noexcept {
  const float square = value.real() * value.real() + value.imag() * value.imag();
  if (!(square > 1e-30F)) return {1.0F, 0.0F};
  const float scale = 1.0F / std::sqrt(square);
  return {value.real() * scale, value.imag() * scale};
}

}  // namespace

bool BandVocoder::carry_over(const SampleRing& input, const Onset& cut, Place place) noexcept {
  const auto size = static_cast<Place>(options_.window_samples);
  const auto distance = static_cast<Place>(2 * carry_reach(options_.window_samples));
  const Place step = distance / prediction_steps;
  const Place before = cut.cut - step * prediction_steps / 2;
  const Place after = before + step * prediction_steps;
  if (before - size / 2 - distance < 0) return false;  // nothing has sounded long enough

  std::copy(window_.begin(), window_.end(), shaped_.begin());
  const auto spectra_at = [&](Place centre, std::vector<Complex>& spectra) {
    load_frame(input, centre);
    transform(spectra);
  };
  spectra_at(before, now_);
  find_peaks();
  if (peak_count_ == 0) return false;
  spectra_at(before - step, before_);
  // Per peak: how far it turns from `before` to `after`, by `prediction_steps` of a short step.
  for (std::size_t index = 0; index < peak_count_; ++index) {
    Complex turned = unit(cross(now_, before_, peaks_[index]));
    for (Place steps = 1; steps < prediction_steps; steps *= 2) turned = product(turned, turned);
    predicted_[index] = turned;
  }
  spectra_at(after, before_);
  const auto power_after = [&](std::size_t bin) {
    float power = 0.0F;
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      power += std::norm(before_[channel * bin_count_ + bin]);
    }
    return power;
  };
  float strongest = 0.0F;
  for (std::size_t k = options_.first_bin; k < options_.last_bin; ++k) {
    strongest = std::max({strongest, power_[k], power_after(k)});
  }
  std::size_t kept = 0;
  for (std::size_t index = 0; index < peak_count_; ++index) {
    const std::uint32_t peak = peaks_[index];
    const float power = power_after(peak);
    const Complex got = unit(cross(before_, now_, peak));
    const float agreement =
        got.real() * predicted_[index].real() + got.imag() * predicted_[index].imag();
    if (power < weakest_ratio * power_[peak] || power > strongest_ratio * power_[peak] ||
        power < least_power * strongest || agreement < least_agreement) {
      continue;
    }
    peaks_[kept++] = peak;
  }
  peak_count_ = kept;
  if (kept == 0) return false;

  // The angle that each of them has got to when the cut is heard. With a negative lag the later
  // frame of the pair is the one that is taken off.
  const Place lag = (place - last_) - (cut.cut - last_centre_);
  if (lag >= 0) {
    spectra_at(before - lag, before_);
  } else {
    std::swap(now_, before_);
    spectra_at(before + lag, now_);
  }
  for (std::size_t index = 0; index < kept; ++index) {
    predicted_[index] =
        unit(product(turn_[peaks_[index]], unit(cross(now_, before_, peaks_[index]))));
  }
  std::fill(turn_.begin(), turn_.end(), Complex(1.0F, 0.0F));
  for (std::size_t index = 0; index < kept; ++index) {
    const std::size_t peak = peaks_[index];
    std::size_t begin = std::max(options_.first_bin + lobe_bins, peak) - lobe_bins;
    std::size_t end = std::min(peak + lobe_bins + 1, options_.last_bin);
    if (index > 0) begin = std::max<std::size_t>(begin, (peaks_[index - 1] + peak + 1) / 2);
    if (index + 1 < kept) end = std::min<std::size_t>(end, (peak + peaks_[index + 1] + 1) / 2);
    for (std::size_t k = begin; k < end; ++k) turn_[k] = predicted_[index];
  }
  return true;
}

}  // namespace lowstride::dsp::stretch
