#include "dsp/learned/front_end.hpp"

#include <algorithm>
#include <cmath>

#include "dsp/base/contracts.hpp"
#include "dsp/base/evidence.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t long_window = 8192;
constexpr std::size_t short_window = 2048;
constexpr std::size_t short_fft = 4096;
constexpr std::size_t band_window = 1024;
constexpr std::size_t grid_frames = 64;     // between two positions of a moving grid
constexpr double lowest_third_midi = 32.0;  // log bin 0, in thirds of a semitone
constexpr double lowest_band_hz = 40.0;
constexpr double highest_band_hz = 10500.0;

float compress(float value) noexcept { return (std::log10(value + 2e-5F) + 4.7F) / 2.35F - 0.6F; }

double to_mel(double hz) { return 2595.0 * std::log10(1.0 + hz / 700.0); }
double from_mel(double mel) { return 700.0 * (std::pow(10.0, mel / 2595.0) - 1.0); }

}  // namespace

FrontEnd::SparseMap FrontEnd::pitch_map(std::size_t fft_samples, double a4_hz) {
  SparseMap map;
  const double third = std::exp2(1.0 / 36.0);
  const std::size_t last_bin = fft_samples / 2;
  for (std::size_t k = 0; k < log_bin_count; ++k) {
    const double midi = (lowest_third_midi + static_cast<double>(k)) / 3.0;
    const double position = a4_hz * std::exp2((midi - 69.0) / 12.0) *
                            static_cast<double>(fft_samples) / analysis_rate_hz;
    const double half_width = std::max(1.0, position * (third - 1.0));
    const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil(position - half_width)));
    const auto last = std::min(
        last_bin, static_cast<std::size_t>(std::max(0.0, std::floor(position + half_width))));
    SparseMap::Row row{first, map.weights.size(), 0};
    const auto weight_of = [&](std::size_t bin) {
      return std::max(0.0, 1.0 - std::abs(static_cast<double>(bin) - position) / half_width);
    };
    double sum = 0.0;
    for (std::size_t bin = first; bin <= last; ++bin) sum += weight_of(bin);
    for (std::size_t bin = first; bin <= last; ++bin) {
      map.weights.push_back(static_cast<float>(weight_of(bin) / std::sqrt(sum)));
    }
    row.count = map.weights.size() - row.first_weight;
    map.bin_end = std::max(map.bin_end, row.first_bin + row.count);
    map.rows.push_back(row);
  }
  return map;
}

FrontEnd::SparseMap FrontEnd::band_map(std::size_t fft_samples) {
  SparseMap map;
  const auto edge = [](std::size_t index) {
    const double low = to_mel(lowest_band_hz);
    const double step = (to_mel(highest_band_hz) - low) / static_cast<double>(band_count + 1);
    return from_mel(low + step * static_cast<double>(index));
  };
  const double bin_hz = analysis_rate_hz / static_cast<double>(fft_samples);
  for (std::size_t band = 0; band < band_count; ++band) {
    const double low = edge(band), middle = edge(band + 1), high = edge(band + 2);
    std::vector<double> weights;
    double sum = 0.0;
    const auto first = static_cast<std::size_t>(std::ceil(low / bin_hz));
    const auto last =
        std::min(fft_samples / 2, static_cast<std::size_t>(std::floor(high / bin_hz)));
    for (std::size_t bin = first; bin <= last; ++bin) {
      const double hz = static_cast<double>(bin) * bin_hz;
      weights.push_back(
          std::max(0.0, std::min((hz - low) / (middle - low), (high - hz) / (high - middle))));
      sum += weights.back();
    }
    LOWSTRIDE_EXPECTS(sum > 0.0);
    map.rows.push_back({first, map.weights.size(), weights.size()});
    for (const double weight : weights) map.weights.push_back(static_cast<float>(weight / sum));
    map.bin_end = std::max(map.bin_end, last + 1);
  }
  return map;
}

FrontEnd::Spectrum::Spectrum(std::size_t window_samples, std::size_t fft_samples,
                             SparseMap sparse_map)
    : fft(fft_samples),
      map(std::move(sparse_map)),
      window(hann_window(window_samples)),
      frame(fft_samples),
      bins(fft.bin_count()),
      magnitudes(map.bin_end) {
  for (float& value : window) value *= 2.0F / static_cast<float>(window_samples);
}

void FrontEnd::Spectrum::change_map(SparseMap sparse_map) {
  map = std::move(sparse_map);
  magnitudes.resize(map.bin_end);
}

FrontEnd::FrontEnd(const FrontEndOptions& options)
    : options_(options),
      buffer_(2 * long_window),
      end_(long_window / 2),
      spectra_{Spectrum(long_window, long_window, pitch_map(long_window, options.a4_hz)),
               Spectrum(short_window, short_fft, pitch_map(short_fft, options.a4_hz)),
               Spectrum(band_window, band_window, band_map(band_window))} {
  LOWSTRIDE_EXPECTS(options.a4_hz > 300.0 && options.a4_hz < 600.0);
  LOWSTRIDE_EXPECTS(options.gain > 0.0F && std::isfinite(options.gain));
}

void FrontEnd::process(std::span<const float> samples, FrameQueue& spectra, FrameQueue& bands) {
  for (const float sample : samples) {
    if (end_ == buffer_.size()) {
      std::copy(buffer_.begin() + static_cast<std::ptrdiff_t>(begin_), buffer_.end(),
                buffer_.begin());
      end_ -= begin_;
      begin_ = 0;
    }
    const float scaled = sample * options_.gain;
    buffer_[end_++] = std::isfinite(scaled) ? scaled : 0.0F;
    if (end_ - begin_ == long_window) add_frame(spectra, bands);
  }
  sample_count_ += samples.size();
}

void FrontEnd::finish(FrameQueue& spectra, FrameQueue& bands) {
  if (sample_count_ == 0) return;
  const std::size_t whole = sample_count_;
  const std::size_t frames = whole / evidence_hop_samples + 1;
  const std::vector<float> silence(evidence_hop_samples);
  while (frame_count_ < frames) process(silence, spectra, bands);
  sample_count_ = whole;
}

void FrontEnd::move_grid() {
  const std::size_t middle_frame = frame_count_ + grid_frames / 2;
  const double away_minutes =
      (frame_seconds(static_cast<double>(middle_frame)) - options_.middle_seconds) / 60.0;
  const double a4_hz =
      options_.a4_hz * std::exp2(options_.drift_cents_per_minute * away_minutes / 1200.0);
  spectra_[0].change_map(pitch_map(long_window, a4_hz));
  spectra_[1].change_map(pitch_map(short_fft, a4_hz));
}

void FrontEnd::add_frame(FrameQueue& spectra, FrameQueue& bands) {
  LOWSTRIDE_EXPECTS(spectra.lane_count() == spectrum_lane_count);
  LOWSTRIDE_EXPECTS(bands.lane_count() == band_count);
  if (options_.drift_cents_per_minute != 0.0 && frame_count_ % grid_frames == 0) move_grid();
  const std::size_t at = spectra.grow(1);
  transform(spectra_[0], spectra, 0, at);
  transform(spectra_[1], spectra, log_bin_count, at);
  transform(spectra_[2], bands, 0, bands.grow(1));
  begin_ += evidence_hop_samples;
  ++frame_count_;
}

void FrontEnd::transform(Spectrum& spectrum, FrameQueue& out, std::size_t first_lane,
                         std::size_t frame) {
  const std::size_t size = spectrum.window.size();
  const float* samples = buffer_.data() + begin_ + (long_window - size) / 2;
  for (std::size_t n = 0; n < size; ++n) spectrum.frame[n] = samples[n] * spectrum.window[n];
  spectrum.fft.forward(spectrum.frame, spectrum.bins);
  for (std::size_t k = 0; k < spectrum.magnitudes.size(); ++k) {
    const float real = spectrum.bins[k].real();
    const float imaginary = spectrum.bins[k].imag();
    spectrum.magnitudes[k] = std::sqrt(real * real + imaginary * imaginary);
  }
  for (std::size_t row = 0; row < spectrum.map.rows.size(); ++row) {
    const auto& [first_bin, first_weight, count] = spectrum.map.rows[row];
    float sum = 0.0F;
    for (std::size_t i = 0; i < count; ++i) {
      sum += spectrum.map.weights[first_weight + i] * spectrum.magnitudes[first_bin + i];
    }
    out.lane(first_lane + row)[frame] = compress(sum);
  }
}

}  // namespace lowstride::dsp
