#include "dsp/rhythm/beat_evidence.hpp"

#include <algorithm>
#include <cmath>

#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t frame_samples = 1024;
constexpr double lowest_band_hz = 40.0;
constexpr double highest_band_hz = 10000.0;
constexpr double bands_per_octave = 4.0;
constexpr double low_band_limit_hz = 160.0;
constexpr float peak_decay = 0.9985F;  // 7.7 s at 86 frames a second
constexpr float relative_floor =
    0.01F;  // a band never counts for more than 40 dB below the loudest
constexpr float absolute_floor = 3e-5F;   // about -90 dB of full scale: silence stays silence
constexpr std::size_t mean_frames = 130;  // 1.5 s to each side

/// Mean over `radius` frames to each side, shorter at the ends.
std::vector<float> moving_mean(const std::vector<float>& values, std::size_t radius) {
  std::vector<double> sums(values.size() + 1, 0.0);
  for (std::size_t i = 0; i < values.size(); ++i) sums[i + 1] = sums[i] + values[i];
  std::vector<float> means(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::size_t begin = i > radius ? i - radius : 0;
    const std::size_t end = std::min(values.size(), i + radius + 1);
    means[i] = static_cast<float>((sums[end] - sums[begin]) / static_cast<double>(end - begin));
  }
  return means;
}

/// How much stronger than its surroundings, as a probability.
std::vector<float> support(const std::vector<float>& flux) {
  constexpr float quiet = 0.01F;
  const auto means = moving_mean(flux, mean_frames);
  std::vector<float> result(flux.size(), 0.0F);
  for (std::size_t i = 0; i < flux.size(); ++i) {
    const float neighbours =
        std::max(i > 0 ? flux[i - 1] : 0.0F, i + 1 < flux.size() ? flux[i + 1] : 0.0F);
    const float ratio = flux[i] / (means[i] + quiet);
    const float peak = flux[i] >= neighbours ? 1.0F : 0.4F;
    result[i] = peak * 0.95F / (1.0F + std::exp(-1.1F * (ratio - 2.7F)));
  }
  return result;
}

/// Half the L1 distance of the mean chord posteriors of the two stretches beside a chord frame.
float chord_change(const Table& chord, std::size_t frame) {
  constexpr std::size_t reach = 4;  // 0.37 s
  if (frame < reach || frame + reach > chord.row_count()) return 0.0F;
  float distance = 0.0F;
  for (std::size_t column = 0; column < chord.column_count(); ++column) {
    float difference = 0.0F;
    for (std::size_t k = 0; k < reach; ++k) {
      difference += chord.row(frame + k)[column] - chord.row(frame - 1 - k)[column];
    }
    distance += std::abs(difference) / static_cast<float>(reach);
  }
  return 0.5F * distance;
}

}  // namespace

BeatEvidence::BeatEvidence()
    : fft_(frame_samples),
      window_(hann_window(frame_samples)),
      pending_(frame_samples / 2, 0.0F),  // frame 0 is centred on sample 0
      windowed_(frame_samples),
      spectrum_(fft_.bin_count()) {
  const double bin_hz = analysis_rate_hz / static_cast<double>(frame_samples);
  const double step = std::exp2(1.0 / bands_per_octave);
  for (double centre_hz = lowest_band_hz; centre_hz < highest_band_hz; centre_hz *= step) {
    // Below the resolution of the window a band is two bins wide.
    const double below = std::min(centre_hz / step, centre_hz - bin_hz);
    const double above = std::max(centre_hz * step, centre_hz + bin_hz);
    Band band;
    band.first_bin = static_cast<std::size_t>(std::max(1.0, std::ceil(below / bin_hz)));
    for (std::size_t bin = band.first_bin; bin < spectrum_.size(); ++bin) {
      const double hz = static_cast<double>(bin) * bin_hz;
      if (hz >= above) break;
      const double weight =
          hz < centre_hz ? (hz - below) / (centre_hz - below) : (above - hz) / (above - centre_hz);
      band.weights.push_back(static_cast<float>(std::max(weight, 0.0)));
    }
    if (centre_hz < low_band_limit_hz) ++low_band_count_;
    bands_.push_back(std::move(band));
  }
  peaks_.assign(bands_.size(), 0.0F);
  now_.assign(bands_.size(), 0.0F);
  before_ = before_that_ = now_;
}

void BeatEvidence::process(std::span<const float> samples) {
  while (!samples.empty()) {
    const std::size_t taken = std::min(samples.size(), frame_samples - pending_.size());
    pending_.insert(pending_.end(), samples.begin(),
                    samples.begin() + static_cast<std::ptrdiff_t>(taken));
    samples = samples.subspan(taken);
    if (pending_.size() == frame_samples) {
      read_frame();
      pending_.erase(pending_.begin(),
                     pending_.begin() + static_cast<std::ptrdiff_t>(evidence_hop_samples));
    }
  }
}

void BeatEvidence::read_frame() {
  for (std::size_t n = 0; n < frame_samples; ++n) windowed_[n] = pending_[n] * window_[n];
  fft_.forward(windowed_, spectrum_);
  std::swap(before_that_, before_);
  std::swap(before_, now_);
  float loudest = absolute_floor;
  for (std::size_t b = 0; b < bands_.size(); ++b) {
    float sum = 0.0F;
    for (std::size_t k = 0; k < bands_[b].weights.size(); ++k) {
      sum += bands_[b].weights[k] * std::abs(spectrum_[bands_[b].first_bin + k]);
    }
    now_[b] = sum * 2.0F / static_cast<float>(frame_samples);
    peaks_[b] = std::max(now_[b], peaks_[b] * peak_decay);
    loudest = std::max(loudest, peaks_[b]);
  }
  float flux = 0.0F;
  float low_flux = 0.0F;
  for (std::size_t b = 0; b < bands_.size(); ++b) {
    now_[b] = std::log1p(10.0F * now_[b] / std::max(peaks_[b], relative_floor * loudest));
  }
  for (std::size_t b = 0; b < bands_.size(); ++b) {
    const std::size_t last = std::min(b + 1, bands_.size() - 1);
    const float past =
        std::max({before_that_[b > 0 ? b - 1 : 0], before_that_[b], before_that_[last]});
    const float rise = std::max(0.0F, now_[b] - past);
    flux += rise;
    if (b < low_band_count_) low_flux += rise;
  }
  flux_.push_back(flux / static_cast<float>(bands_.size()));
  low_flux_.push_back(low_flux / static_cast<float>(low_band_count_));
}

void BeatEvidence::finish(std::size_t frame_count, Evidence& evidence) {
  const std::vector<float> silence(frame_samples, 0.0F);
  while (flux_.size() < frame_count) process(silence);
  flux_.resize(frame_count);
  low_flux_.resize(frame_count);
  const auto beat = support(flux_);
  const auto low = support(low_flux_);
  evidence.beat.resize(frame_count);
  evidence.downbeat.resize(frame_count);
  for (std::size_t i = 0; i < frame_count; ++i) {
    // A beat of a walking line is struck low; drums and chords fall on the off-beats as well.
    float near_low = 0.0F;
    for (std::size_t k = i > 3 ? i - 3 : 0; k < std::min(frame_count, i + 4); ++k) {
      near_low = std::max(near_low, low[k]);
    }
    evidence.beat[i] = beat[i] * (0.55F + 0.45F * near_low);
    const float change =
        evidence.chord.empty()
            ? 0.0F
            : chord_change(evidence.chord, (i + chord_hop_frames / 2) / chord_hop_frames);
    evidence.downbeat[i] =
        evidence.beat[i] * std::min(1.0F, 0.12F + 0.13F * near_low + 0.4F * change);
  }
}

}  // namespace lowstride::dsp
