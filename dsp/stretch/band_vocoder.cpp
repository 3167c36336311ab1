#include "dsp/stretch/band_vocoder.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp::stretch {

namespace {

using Complex = std::complex<float>;

// Share of the distance between two cuts that is played as it is, and that no frame is centred in,
// where they are too close for both in full.
constexpr double whole_share = 0.6;
constexpr double hold_share = 0.4;
// How much faster or slower than the time map the input is walked through to meet it again.
constexpr double catch_up_share = 0.5;
// Weight under which the sound is faded rather than made up: a hundredth of one frame's peak.
constexpr float least_weight = 0.01F;

/// Blackman's window with exact zeros at its third and fourth side lobes (Harris 1978, "exact
/// Blackman": highest side lobe -68 dB), periodic.
std::vector<float> exact_blackman_window(std::size_t size) {
  std::vector<float> window(size);
  for (std::size_t n = 0; n < size; ++n) {
    const double phase =
        2.0 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(size);
    window[n] = static_cast<float>(7938.0 / 18608.0 - 9240.0 / 18608.0 * std::cos(phase) +
                                   1430.0 / 18608.0 * std::cos(2.0 * phase));
  }
  return window;
}

std::size_t ring_size(const BandVocoderOptions& options) {
  return std::bit_ceil(2 * options.window_samples + options.hop_samples + 1024);
}

Complex unit(Complex value) noexcept {
  const float length = std::abs(value);
  return length > 1e-30F ? value / length : Complex(1.0F, 0.0F);
}

}  // namespace

BandVocoder::BandVocoder(const BandVocoderOptions& options)
    : options_(options),
      fft_(options.window_samples),
      bin_count_(fft_.bin_count()),
      window_(options.low_sidelobes ? exact_blackman_window(options.window_samples)
                                    : hann_window(options.window_samples)),
      shaped_(options.window_samples),
      frames_(options.channel_count * options.window_samples),
      now_(options.channel_count * bin_count_),
      before_(options.channel_count * bin_count_),
      turn_(bin_count_, Complex(1.0F, 0.0F)),
      turned_(bin_count_),
      ramp_(options.fade_samples),
      power_(bin_count_),
      peaks_(bin_count_),
      predicted_(bin_count_),
      sum_(options.channel_count, std::vector<float>(ring_size(options), 0.0F)),
      weight_(ring_size(options), 0.0F) {
  LOWSTRIDE_EXPECTS(options.last_bin <= bin_count_ && options.first_bin + 4 < options.last_bin);
  LOWSTRIDE_EXPECTS(options.fade_samples < options.window_samples / 2);
  for (std::size_t n = 0; n < ramp_.size(); ++n) {
    const double share = (static_cast<double>(n) + 0.5) / static_cast<double>(ramp_.size());
    ramp_[n] = static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * share));
  }
  clear();
}

void BandVocoder::clear() noexcept {
  cut_ = Onset{.cut = 0, .rise = 0, .bands = ~0U, .is_placed = true, .stretched = 0};
  whole_samples_ = options_.whole_samples;
  fresh_ = true;
  carries_ = false;
  untouched_ = true;
  centre_ = 0.0;
  last_centre_ = last_ = next_ = taken_ = 0;
  for (auto& channel : sum_) std::fill(channel.begin(), channel.end(), 0.0F);
  std::fill(weight_.begin(), weight_.end(), 0.0F);
}

double BandVocoder::reach(double advance) const noexcept {
  const auto half = static_cast<double>(options_.window_samples) / 2.0;
  const auto spread = static_cast<double>(options_.whole_samples + options_.hold_samples);
  const auto carry =
      static_cast<double>(carry_reach(options_.window_samples) + options_.fade_samples);
  return std::max({half + (1.0 + catch_up_share) * advance, spread, half + carry});
}

double BandVocoder::needs_input(const TimeMap& map) const noexcept {
  const auto next = static_cast<double>(next_);
  const double advance = map.input_at(next) - map.input_at(static_cast<double>(last_));
  const double centre =
      std::max(centre_ + static_cast<double>(options_.hop_samples), map.input_at(next)) +
      catch_up_share * advance;
  const auto end = next + static_cast<double>(options_.window_samples) / 2.0;
  return std::max(centre + reach(advance), map.input_at(end));
}

void BandVocoder::add_frame(const SampleRing& input, const TimeMap& map,
                            const OnsetList& onsets) noexcept {
  const double known = needs_input(map);
  Place place = next_;
  if (const Onset* due = onsets.next(options_.band_index, cut_.cut, known);
      due != nullptr && due->is_placed && due->stretched <= next_) {
    place = std::max(due->stretched, last_ + 1);
    carries_ = carry_over(input, *due, place);
    cut_ = *due;
    fresh_ = true;
  }
  const Onset* const next_cut = onsets.next(options_.band_index, cut_.cut, known);
  const double gap = next_cut == nullptr ? 1e18 : static_cast<double>(next_cut->cut - cut_.cut);
  const auto step = static_cast<double>(place - last_);

  if (fresh_) {
    // Faster than the recording, the room between two attacks is that of the stretched sound.
    const double room = gap / std::max(1.0, map.slope_at(static_cast<double>(place)));
    whole_samples_ = static_cast<std::size_t>(
        std::min(static_cast<double>(options_.whole_samples), whole_share * room));
    centre_ = static_cast<double>(cut_.cut + (place - cut_.stretched));
  } else if (place - cut_.stretched <= static_cast<Place>(whole_samples_)) {
    centre_ += step;
  } else {
    const double mapped = map.input_at(static_cast<double>(last_));
    const double advance = map.input_at(static_cast<double>(place)) - mapped;
    const double most = catch_up_share * advance;
    centre_ += advance - std::clamp(centre_ - mapped, -most, most);
  }
  float gain = 1.0F;
  if (next_cut != nullptr) {
    const double hold_from = static_cast<double>(next_cut->cut) -
                             std::min(static_cast<double>(options_.hold_samples), hold_share * gap);
    if (centre_ >= hold_from) {
      centre_ = std::max(hold_from, static_cast<double>(last_centre_));
      if (fresh_) centre_ = static_cast<double>(cut_.cut);
      const double heard = std::clamp(map.input_at(static_cast<double>(place)), hold_from,
                                      static_cast<double>(next_cut->cut));
      const float then = loudness(input, static_cast<Place>(hold_from));
      const float later = loudness(input, static_cast<Place>(heard));
      if (later < then) gain = std::sqrt(later / then);
    }
  }

  const auto centre = static_cast<Place>(std::floor(centre_ + 0.5));
  const Place lag = fresh_ ? 0 : (place - last_) - (centre - last_centre_);
  const bool was_plain = is_plain_ && !fresh_;
  shape_window(centre, {.left = cut_.cut,
                        .right = next_cut == nullptr ? centre + (Place{1} << 40) : next_cut->cut});
  if (fresh_) {
    if (!carries_) std::fill(turn_.begin(), turn_.end(), Complex(1.0F, 0.0F));
    untouched_ = !carries_;
    has_spectrum_ = false;
  }
  if (lag != 0) untouched_ = false;
  if (untouched_) {
    load_frame(input, centre);
  } else {
    // Exact doubling asks for the frame before; standing still for the very same pair.
    const bool is_same_shape = has_spectrum_ && was_plain && is_plain_;
    if (is_same_shape && centre == last_centre_ && lag == last_lag_) {
      turn_regions();
    } else {
      const bool is_known = is_same_shape && centre - lag == last_centre_;
      if (is_known) std::swap(now_, before_);
      load_frame(input, centre);
      transform(now_);
      if (lag != 0) {
        if (!is_known) {
          load_frame(input, centre - lag);
          transform(before_);
        }
        find_peaks();
        turn_regions();
      }
    }
    has_spectrum_ = true;
    make_turned_samples();
  }
  last_lag_ = lag;
  write_frame(place, next_cut, gain);
  fresh_ = false;
  last_centre_ = centre;
  last_ = place;
  next_ = place + static_cast<Place>(options_.hop_samples);
}

void BandVocoder::shape_window(Place centre, Edges edges) noexcept {
  const auto size = static_cast<Place>(options_.window_samples);
  const auto fade = static_cast<Place>(options_.fade_samples);
  const Place begin = centre - size / 2;
  std::copy(window_.begin(), window_.end(), shaped_.begin());
  is_plain_ = edges.left <= begin && edges.right >= begin + size;
  if (is_plain_) return;
  // Left edge: silent up to left - fade, whole from left on. Right edge: the mirror of it.
  const Place rising = edges.left - fade - begin;
  for (Place n = 0; n < std::min(rising + fade, size); ++n) {
    shaped_[static_cast<std::size_t>(n)] *=
        n < rising ? 0.0F : ramp_[static_cast<std::size_t>(n - rising)];
  }
  const Place falling = edges.right - fade - begin;
  for (Place n = std::max<Place>(falling, 0); n < size; ++n) {
    shaped_[static_cast<std::size_t>(n)] *=
        n >= falling + fade ? 0.0F : ramp_[static_cast<std::size_t>(fade - 1 - (n - falling))];
  }
}

void BandVocoder::load_frame(const SampleRing& input, Place centre) noexcept {
  const std::size_t size = options_.window_samples;
  const Place begin = centre - static_cast<Place>(size / 2);
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    const auto frame = std::span(frames_).subspan(channel * size, size);
    input.read(channel, begin, frame);
    for (std::size_t n = 0; n < size; ++n) frame[n] *= shaped_[n];
  }
}

void BandVocoder::transform(std::vector<Complex>& spectra) noexcept {
  const std::size_t size = options_.window_samples;
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    fft_.forward(std::span(frames_).subspan(channel * size, size), bins(spectra, channel));
  }
}

void BandVocoder::find_peaks() noexcept {
  const std::size_t first = options_.first_bin;
  const std::size_t last = options_.last_bin;
  for (std::size_t k = first; k < last; ++k) {
    float power = 0.0F;
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      power += std::norm(now_[channel * bin_count_ + k]);
    }
    power_[k] = power;
  }
  peak_count_ = 0;
  for (std::size_t k = first; k < last; ++k) {
    const float power = power_[k];
    const auto over = [&](std::size_t other) {
      return other < first || other >= last || power > power_[other];
    };
    if (power > 0.0F && over(k + 1) && over(k + 2) && over(k - 1) && over(k - 2)) {
      peaks_[peak_count_++] = static_cast<std::uint32_t>(k);
    }
  }
}

void BandVocoder::turn_regions() noexcept {
  const std::size_t first = options_.first_bin;
  const std::size_t last = options_.last_bin;
  std::size_t begin = first;
  for (std::size_t index = 0; index < peak_count_; ++index) {
    const std::size_t peak = peaks_[index];
    std::size_t end = last;
    if (index + 1 < peak_count_) {
      // The valley between two peaks parts them.
      const auto valley =
          std::min_element(power_.begin() + static_cast<std::ptrdiff_t>(peak),
                           power_.begin() + static_cast<std::ptrdiff_t>(peaks_[index + 1]));
      end = static_cast<std::size_t>(valley - power_.begin());
    }
    const Complex advance = cross(now_, before_, peak);
    const Complex turn = unit(turn_[peak] * unit(advance));
    std::fill(turn_.begin() + static_cast<std::ptrdiff_t>(begin),
              turn_.begin() + static_cast<std::ptrdiff_t>(end), turn);
    begin = end;
  }
}

Complex BandVocoder::cross(const std::vector<Complex>& later, const std::vector<Complex>& earlier,
                           std::size_t peak) const noexcept {
  const std::size_t low = std::max(peak, options_.first_bin + 1) - 1;
  const std::size_t high = std::min(peak + 2, options_.last_bin);
  float real = 0.0F;
  float imaginary = 0.0F;
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    for (std::size_t k = low; k < high; ++k) {
      const Complex a = later[channel * bin_count_ + k];
      const Complex b = earlier[channel * bin_count_ + k];
      real += a.real() * b.real() + a.imag() * b.imag();
      imaginary += a.imag() * b.real() - a.real() * b.imag();
    }
  }
  return {real, imaginary};
}

void BandVocoder::make_turned_samples() noexcept {
  const std::size_t size = options_.window_samples;
  std::fill(turned_.begin(), turned_.end(), Complex{});
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    const auto spectrum = bins(now_, channel);
    for (std::size_t k = options_.first_bin; k < options_.last_bin; ++k) {
      const Complex a = spectrum[k];
      const Complex b = turn_[k];
      turned_[k] = {a.real() * b.real() - a.imag() * b.imag(),
                    a.real() * b.imag() + a.imag() * b.real()};
    }
    fft_.inverse(turned_, std::span(frames_).subspan(channel * size, size));
  }
}

float BandVocoder::loudness(const SampleRing& input, Place end) const noexcept {
  float sum = 1e-12F;
  const Place begin = end - static_cast<Place>(options_.energy_samples);
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    for (Place place = std::max<Place>(begin, 0); place < end; ++place) {
      const float value = input.at(channel, place);
      sum += value * value;
    }
  }
  return sum;
}

void BandVocoder::write_frame(Place place, const Onset* next_cut, float gain) noexcept {
  const std::size_t size = options_.window_samples;
  const auto fade = static_cast<Place>(options_.fade_samples);
  const Place start = place - static_cast<Place>(size / 2);
  const std::size_t mask = weight_.size() - 1;
  const Place own = cut_.stretched;
  const bool ends = next_cut != nullptr && next_cut->is_placed;
  const Place begin = std::max({start, taken_, own - fade});
  Place end = start + static_cast<Place>(size);
  if (ends) end = std::min(end, next_cut->stretched);
  for (Place t = begin; t < end; ++t) {
    float gate = 1.0F;
    if (t < own) gate = ramp_[static_cast<std::size_t>(t - own + fade)];
    if (ends && t >= next_cut->stretched - fade) {
      gate *= ramp_[static_cast<std::size_t>(next_cut->stretched - 1 - t)];
    }
    const auto n = static_cast<std::size_t>(t - start);
    const auto slot = static_cast<std::size_t>(t) & mask;
    const float weight = window_[n] * gate;
    weight_[slot] += weight * shaped_[n];
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      sum_[channel][slot] += weight * gain * frames_[channel * size + n];
    }
  }
}

void BandVocoder::take(Place begin, std::size_t count, SampleRing& target) noexcept {
  const std::size_t mask = weight_.size() - 1;
  for (std::size_t n = 0; n < count; ++n) {
    const Place place = begin + static_cast<Place>(n);
    const auto slot = static_cast<std::size_t>(place) & mask;
    const float scale = 1.0F / std::max(weight_[slot], least_weight);
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      target.slot(channel, place) += sum_[channel][slot] * scale;
      sum_[channel][slot] = 0.0F;
    }
    weight_[slot] = 0.0F;
  }
  taken_ = begin + static_cast<Place>(count);
}

}  // namespace lowstride::dsp::stretch
