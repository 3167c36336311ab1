#include "dsp/pitch/tuning.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/evidence.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t frame_samples = 8192;
constexpr std::size_t lag_samples = 512;
constexpr std::size_t hop_samples = 2048;
constexpr double bin_hz = analysis_rate_hz / static_cast<double>(frame_samples);
constexpr double lowest_hz = 30.0;  // under the low B of a five-string bass
constexpr double highest_hz = 1500.0;
constexpr float silence = 1e-6F;         // -120 dB: peaks of a frame below that are rounding
constexpr float relative_floor = 0.02F;  // of a frame's strongest peak
constexpr double kernel_cents = 8.0;
constexpr double partial_weight = 3.0;  // over its order
constexpr std::size_t most_partials = 96;
constexpr std::size_t most_segments = 64;
constexpr std::size_t first_segment_frames = 64;  // 5.9 s
// A flat histogram reads 1; one second of noise stays below 1.25, solo bass with slides
// reaches 1.4.
constexpr double least_crowding = 1.25;
constexpr double least_partials = 12.0;  // effective count of independent peaks

double wrap_cents(double cents) noexcept { return cents - 100.0 * std::round(cents / 100.0); }

bool near_multiple(double hz, double base) noexcept {
  return std::abs(hz - base * std::round(hz / base)) < 0.012 * base;
}

std::size_t place(double hz) noexcept {
  return (near_multiple(hz, 50.0) ? 1U : 0U) + (near_multiple(hz, 60.0) ? 2U : 0U);
}

struct Mode {
  double cents = 0.0;     // -50..50
  double crowding = 0.0;  // height of the smoothed mode over the mean: 1 = flat
};

/// The mode of a histogram that is periodic in a semitone, under a Gaussian, to a fraction of a
/// bin.
std::optional<Mode> find_mode(const std::array<double, 100>& histogram) {
  double total = 0.0;
  for (const double value : histogram) total += value;
  if (!(total > 0.0)) return std::nullopt;
  std::array<double, 100> kernel{};
  double kernel_total = 0.0;
  for (std::size_t i = 0; i < 100; ++i) {
    const double distance = wrap_cents(static_cast<double>(i)) / kernel_cents;
    kernel[i] = std::exp(-0.5 * distance * distance);
    kernel_total += kernel[i];
  }
  std::array<double, 100> smooth{};
  for (std::size_t i = 0; i < 100; ++i) {
    for (std::size_t j = 0; j < 100; ++j) smooth[i] += histogram[j] * kernel[(j + 100 - i) % 100];
  }
  const auto top = std::max_element(smooth.begin(), smooth.end());
  const auto index = static_cast<std::size_t>(top - smooth.begin());
  const double before = smooth[(index + 99) % 100];
  const double after = smooth[(index + 1) % 100];
  const double curvature = before - 2.0 * *top + after;
  const double fraction = curvature < 0.0 ? 0.5 * (before - after) / curvature : 0.0;
  return Mode{wrap_cents(static_cast<double>(index) + fraction),
              *top / (total * kernel_total / 100.0)};
}

struct Drift {
  double cents_per_minute = 0.0;
  double middle_cents = 0.0;  // of the line, half-way through the recording, from the centre
};

/// A weighted straight line through the modes of the segments near the whole's mode; level at the
/// centre where its slope lies within four standard errors of 0.
Drift find_drift(const std::vector<std::array<double, 100>>& segments, double centre_cents,
                 double segment_minutes) {
  struct Point {
    double minutes, cents, weight;
  };
  std::vector<Point> points;
  double sum_w = 0.0, sum_t = 0.0, sum_c = 0.0;
  for (std::size_t i = 0; i < segments.size(); ++i) {
    const auto here = find_mode(segments[i]);
    if (!here || here->crowding < least_crowding) continue;
    const double cents = wrap_cents(here->cents - centre_cents);
    if (std::abs(cents) > 40.0) continue;
    double weight = 0.0;
    for (const double value : segments[i]) weight += value;
    points.push_back({(static_cast<double>(i) + 0.5) * segment_minutes, cents, weight});
    sum_w += weight;
    sum_t += weight * points.back().minutes;
    sum_c += weight * cents;
  }
  if (points.size() < 5) return {};
  double sum_tt = 0.0, sum_tc = 0.0;
  for (const Point& point : points) {
    const double t = point.minutes - sum_t / sum_w;
    sum_tt += point.weight * t * t;
    sum_tc += point.weight * t * (point.cents - sum_c / sum_w);
  }
  if (!(sum_tt > 0.0)) return {};
  const double slope = sum_tc / sum_tt;
  double residual = 0.0;
  for (const Point& point : points) {
    const double miss = point.cents - sum_c / sum_w - slope * (point.minutes - sum_t / sum_w);
    residual += point.weight * miss * miss;
  }
  const double error = std::sqrt(residual / sum_tt / static_cast<double>(points.size() - 2));
  if (std::abs(slope) < 4.0 * error) return {};
  const double middle = 0.5 * segment_minutes * static_cast<double>(segments.size());
  return {slope, sum_c / sum_w + slope * (middle - sum_t / sum_w)};
}

}  // namespace

TuningEstimator::TuningEstimator()
    : fft_(frame_samples),
      window_(hann_window(frame_samples)),
      buffer_(frame_samples + lag_samples),
      windowed_(frame_samples),
      earlier_(fft_.bin_count()),
      later_(fft_.bin_count()),
      magnitude_(fft_.bin_count()),
      frames_per_segment_(first_segment_frames) {
  partials_.reserve(most_partials);
  segments_.reserve(most_segments);
  segments_.emplace_back();
}

void TuningEstimator::process(std::span<const float> samples) noexcept {
  for (const float sample : samples) {
    buffer_[filled_++] = std::isfinite(sample) ? sample : 0.0F;
    if (filled_ < buffer_.size()) continue;
    analyse_frame();
    std::move(buffer_.begin() + hop_samples, buffer_.end(), buffer_.begin());
    filled_ -= hop_samples;
  }
}

void TuningEstimator::analyse_frame() noexcept {
  const auto transform = [this](std::size_t begin, std::span<std::complex<float>> bins) {
    for (std::size_t n = 0; n < frame_samples; ++n) windowed_[n] = buffer_[begin + n] * window_[n];
    fft_.forward(windowed_, bins);
  };
  if (frames_in_segment_ == frames_per_segment_) start_segment();
  ++frames_in_segment_;

  transform(lag_samples, later_);
  constexpr auto first = static_cast<std::size_t>(lowest_hz / bin_hz);
  constexpr auto last = static_cast<std::size_t>(highest_hz / bin_hz) + 1;
  constexpr float scale = 4.0F / static_cast<float>(frame_samples);
  float strongest = 0.0F;
  for (std::size_t k = first - 1; k <= last + 1; ++k) {
    magnitude_[k] = std::abs(later_[k]) * scale;
    strongest = std::max(strongest, magnitude_[k]);
  }
  if (!(strongest > silence) || !std::isfinite(strongest)) return;
  transform(0, earlier_);

  partials_.clear();
  const float floor = strongest * relative_floor;
  for (std::size_t k = first; k <= last && partials_.size() < most_partials; ++k) {
    const float here = magnitude_[k];
    if (!(here > floor && here > magnitude_[k - 1] && here >= magnitude_[k + 1])) continue;
    const double before = static_cast<double>(std::abs(earlier_[k]) * scale);
    if (!(before > 0.0)) continue;
    const double bin = static_cast<double>(k);
    constexpr double turn = 2.0 * std::numbers::pi;
    constexpr double lag = static_cast<double>(lag_samples);
    const double expected = turn * bin * lag / static_cast<double>(frame_samples);
    const double advance =
        std::arg(std::complex<double>(later_[k]) * std::conj(std::complex<double>(earlier_[k])));
    const double excess = std::remainder(advance - expected, turn);
    const double hz = bin * bin_hz + excess / (turn * lag) * analysis_rate_hz;
    if (std::abs(hz - bin * bin_hz) > 1.5 * bin_hz) continue;
    const double change = std::log(static_cast<double>(here) / before) / 0.15;
    partials_.push_back({hz, static_cast<double>(here), std::exp(-change * change)});
  }
  add_partials(partials_);
}

void TuningEstimator::add_partials(std::span<const Partial> partials) noexcept {
  Segment& segment = segments_.back();
  for (std::size_t i = 0; i < partials.size(); ++i) {
    const Partial& partial = partials[i];
    double weight = std::sqrt(partial.amplitude) * partial.steadiness;
    for (std::size_t j = 0; j < i; ++j) {
      const double ratio = partial.hz / partials[j].hz;
      const double order = std::round(ratio);
      if (order < 3.0 || order > 16.0 || partials[j].amplitude < 0.1 * partial.amplitude) continue;
      // Stiffness makes partials sharp: Fletcher, JASA 36, 1964; 35 cents are reached by the 14th
      // at B = 2e-4.
      const double cents = 1200.0 * std::log2(ratio / order);
      if (cents > -15.0 && cents < 35.0) {
        weight *= std::min(1.0, partial_weight / order);
        break;
      }
    }
    const double position = 1200.0 * std::log2(partial.hz / 440.0) + 12000.0;
    const double whole = std::floor(position);
    const double part = position - whole;
    const auto bin = static_cast<std::size_t>(whole) % cents_per_semitone;
    const std::size_t kind = place(partial.hz);
    Histogram& histogram = segment.weights[kind];
    histogram[bin] += static_cast<float>(weight * (1.0 - part));
    histogram[(bin + 1) % cents_per_semitone] += static_cast<float>(weight * part);
    segment.squares[kind] += weight * weight;
  }
}

/// When all segments are taken, neighbours are joined, so that memory stays and time gets coarser.
void TuningEstimator::start_segment() noexcept {
  frames_in_segment_ = 0;
  if (segments_.size() == most_segments) {
    for (std::size_t i = 0; i < most_segments / 2; ++i) {
      Segment joined = segments_[2 * i];
      for (std::size_t kind = 0; kind < joined.weights.size(); ++kind) {
        for (std::size_t bin = 0; bin < cents_per_semitone; ++bin) {
          joined.weights[kind][bin] += segments_[2 * i + 1].weights[kind][bin];
        }
        joined.squares[kind] += segments_[2 * i + 1].squares[kind];
      }
      segments_[i] = joined;
    }
    segments_.resize(most_segments / 2);
    frames_per_segment_ *= 2;
  }
  segments_.emplace_back();
}

std::optional<TuningEstimate> TuningEstimator::finish(const TuningOptions& options) const {
  const std::array<bool, 4> counts{true, !options.ignore_50_hz_lines, !options.ignore_60_hz_lines,
                                   !options.ignore_50_hz_lines && !options.ignore_60_hz_lines};
  std::vector<std::array<double, 100>> histograms(segments_.size());
  std::array<double, 100> whole{};
  double total = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < segments_.size(); ++i) {
    for (std::size_t kind = 0; kind < counts.size(); ++kind) {
      if (!counts[kind]) continue;
      for (std::size_t bin = 0; bin < 100; ++bin) {
        const auto value = static_cast<double>(segments_[i].weights[kind][bin]);
        histograms[i][bin] += value;
        whole[bin] += value;
        total += value;
      }
      squares += segments_[i].squares[kind];
    }
  }
  const auto mode = find_mode(whole);
  // Frames overlap fourfold, so a peak is seen four times.
  const double independent = squares > 0.0 ? total * total / squares / 4.0 : 0.0;
  if (!mode || independent < least_partials) return std::nullopt;
  const double chance = 1.0 + 4.0 / std::sqrt(independent);  // four sigma of a flat histogram
  if (mode->crowding < std::max(least_crowding, chance)) return std::nullopt;

  TuningEstimate estimate;
  // A pure grid reads 100 / (8 sqrt(2 pi)) = 5.0.
  estimate.confidence = std::clamp((mode->crowding - 1.0) / 4.0, 0.0, 1.0);

  const double segment_minutes =
      static_cast<double>(frames_per_segment_ * hop_samples) / analysis_rate_hz / 60.0;
  const Drift drift = find_drift(histograms, mode->cents, segment_minutes);
  estimate.drift_cents_per_minute = drift.cents_per_minute;
  estimate.a4_hz = 440.0 * std::exp2(wrap_cents(mode->cents + drift.middle_cents) / 1200.0);
  return estimate;
}

}  // namespace lowstride::dsp
