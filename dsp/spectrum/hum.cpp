#include "dsp/spectrum/hum.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"
#include "dsp/base/evidence.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t frame_samples = 16384;
constexpr std::size_t hop_samples = 4096;
constexpr double hop_seconds = static_cast<double>(hop_samples) / analysis_rate_hz;
constexpr double bin_hz = analysis_rate_hz / static_cast<double>(frame_samples);
constexpr std::size_t block_frames = 48;
constexpr std::size_t least_blocks = 3;
constexpr float least_prominence = 1.8F;
constexpr float least_member_prominence = 1.2F;
constexpr float least_coherence = 0.55F;
constexpr double least_agreeing_share = 0.7;
constexpr double agreement_hz = 0.05;
constexpr double most_mains_deviation = 0.004;
constexpr int frequency_steps = 30;  // each way
constexpr double turn = 2.0 * std::numbers::pi;
constexpr double notch_width_hz = 0.8;
constexpr int settling_samples = 44100;  // two seconds: five times a notch's time constant

template <typename Value>
Value quantile(std::vector<Value> values, double share) {
  const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

}  // namespace

HumDetector::HumDetector()
    : fft_(frame_samples),
      window_(hann_window(frame_samples)),
      buffer_(frame_samples),
      windowed_(frame_samples),
      spectrum_(fft_.bin_count()) {
  for (const double base : {50.0, 60.0}) {
    for (int order = 1; order <= most_harmonics; ++order) {
      Line line;
      line.nominal_hz = base * order;
      line.bin = static_cast<std::size_t>(std::lround(line.nominal_hz / bin_hz));
      lines_.push_back(std::move(line));
    }
  }
}

void HumDetector::process(std::span<const float> samples) {
  for (const float sample : samples) {
    buffer_[filled_++] = sample;
    if (filled_ < frame_samples) continue;
    analyse_frame();
    std::move(buffer_.begin() + hop_samples, buffer_.end(), buffer_.begin());
    filled_ -= hop_samples;
  }
}

void HumDetector::analyse_frame() {
  for (std::size_t n = 0; n < frame_samples; ++n) windowed_[n] = buffer_[n] * window_[n];
  fft_.forward(windowed_, spectrum_);
  for (Line& line : lines_) {
    // Four to nine bins (5 to 12 Hz) away: outside the main lobe.
    for (std::size_t i = 0; i < line.around.size() / 2; ++i) {
      line.around[2 * i].push_back(std::abs(spectrum_[line.bin - 4 - i]));
      line.around[2 * i + 1].push_back(std::abs(spectrum_[line.bin + 4 + i]));
    }
    line.values.emplace_back(spectrum_[line.bin]);
    if (line.values.size() < block_frames) continue;
    line.blocks.push_back(analyse_block(line));
    if (line.opening.empty()) line.opening = line.values;
    constexpr auto half = static_cast<std::ptrdiff_t>(block_frames / 2);
    line.values.erase(line.values.begin(), line.values.begin() + half);
    for (auto& levels : line.around) levels.erase(levels.begin(), levels.begin() + half);
  }
}

HumDetector::Block HumDetector::analyse_block(const Line& line) {
  std::vector<double> levels;
  for (const auto& value : line.values) levels.push_back(std::abs(value));
  const double quiet = quantile(levels, 0.2);
  std::vector<float> floors;
  for (const auto& beside : line.around) floors.push_back(quantile(beside, 0.2));
  const auto floor = static_cast<double>(quantile(floors, 0.5));
  if (!(quiet > 0.0) || !(floor > 0.0)) return {};

  Block block;
  block.prominence = static_cast<float>(quiet / floor);
  const double reach = std::max(0.6, most_mains_deviation * line.nominal_hz);
  for (int step = -frequency_steps; step <= frequency_steps; ++step) {
    const double away_hz = reach * step / frequency_steps;
    const auto back = std::polar(1.0, -turn * (line.nominal_hz + away_hz) * hop_seconds);
    std::complex<double> sum;
    std::complex<double> rotation = 1.0;
    for (std::size_t i = 0; i < line.values.size(); ++i) {
      sum += line.values[i] * rotation * std::min(1.0, 1.5 * quiet / std::max(levels[i], quiet));
      rotation *= back;
    }
    const auto coherence =
        static_cast<float>(std::abs(sum) / quiet / static_cast<double>(line.values.size()));
    if (coherence > block.coherence) {
      block.coherence = coherence;
      block.hz = static_cast<float>(away_hz);
    }
  }
  return block;
}

/// Amplitude and phase of a line over the first block, where it keeps its phase best near `hz`.
HumLine HumDetector::opening_line(const Line& line, int order, double hz) const {
  std::vector<double> levels;
  levels.reserve(line.opening.size());
  for (const auto& value : line.opening) levels.push_back(std::abs(value));
  const double quiet = std::max(quantile(levels, 0.2), 1e-12);
  double best = 0.0;
  double best_hz = hz;
  for (int step = -25; step <= 25; ++step) {
    const double tried_hz = hz + agreement_hz * step / 25.0;
    std::complex<double> sum;
    for (std::size_t i = 0; i < line.opening.size(); ++i) {
      const double angle = -turn * tried_hz * hop_seconds * static_cast<double>(i);
      sum += line.opening[i] * std::polar(1.0, angle) *
             std::min(1.0, 1.5 * quiet / std::max(levels[i], quiet));
    }
    if (std::abs(sum) > best) {
      best = std::abs(sum);
      best_hz = tried_hz;
    }
  }
  // The frames that hold the line and little else.
  std::complex<double> mean;
  double count = 0.0;
  for (std::size_t i = 0; i < line.opening.size(); ++i) {
    if (levels[i] > 1.5 * quiet) continue;
    mean +=
        line.opening[i] * std::polar(1.0, -turn * best_hz * hop_seconds * static_cast<double>(i));
    count += 1.0;
  }
  mean /= std::max(count, 1.0);
  // What the window makes of a line that lies beside the middle of its bin.
  std::complex<double> gain;
  const double away = turn * (best_hz / bin_hz - static_cast<double>(line.bin)) /
                      static_cast<double>(frame_samples);
  for (std::size_t n = 0; n < frame_samples; ++n) {
    gain += static_cast<double>(window_[n]) * std::polar(1.0, away * static_cast<double>(n));
  }
  const auto value = 2.0 * mean / gain;
  return {order, std::abs(value), std::arg(value)};
}

std::optional<MainsHum> HumDetector::finish() const {
  /// What the blocks of a line say together.
  struct Candidate {
    int order = 1;
    double hz = 0.0;
    float prominence = 0.0F;
    bool is_sure = false;  // hum even when seen alone
    const Line* line = nullptr;
  };
  std::optional<MainsHum> best;
  for (const double base : {50.0, 60.0}) {
    std::vector<Candidate> candidates;
    for (const Line& line : lines_) {
      const int order = static_cast<int>(std::lround(line.nominal_hz / base));
      const bool is_of_base = &line < &lines_[most_harmonics] ? base < 55.0 : base > 55.0;
      if (!is_of_base || line.blocks.size() < least_blocks) continue;
      std::vector<float> prominences, coherences, away_hz;
      for (const Block& block : line.blocks) {
        prominences.push_back(block.prominence);
        coherences.push_back(block.coherence);
        away_hz.push_back(block.hz);
      }
      const auto middle = static_cast<double>(quantile(away_hz, 0.5));
      const auto agreeing = std::count_if(away_hz.begin(), away_hz.end(), [middle](float hz) {
        return std::abs(static_cast<double>(hz) - middle) < agreement_hz;
      });
      if (static_cast<double>(agreeing) <
          least_agreeing_share * static_cast<double>(line.blocks.size())) {
        continue;
      }
      const float prominence = quantile(prominences, 0.5);
      candidates.push_back(
          {order, line.nominal_hz + middle, prominence,
           prominence >= least_prominence && quantile(coherences, 0.5) >= least_coherence, &line});
    }

    // The family that most sure lines agree on; higher orders tell the fundamental more exactly.
    for (const Candidate& anchor : candidates) {
      if (!anchor.is_sure) continue;
      const double fundamental = anchor.hz / anchor.order;
      double sum = 0.0, weights = 0.0;
      std::size_t sure_count = 0;
      for (const Candidate& other : candidates) {
        if (!other.is_sure || std::abs(other.hz / other.order - fundamental) > agreement_hz)
          continue;
        ++sure_count;
        sum += other.hz;
        weights += other.order;
      }
      MainsHum hum;
      hum.fundamental_hz = sum / weights;
      if (sure_count < 2 || std::abs(hum.fundamental_hz / base - 1.0) > most_mains_deviation)
        continue;
      for (const Candidate& member : candidates) {
        const double hz = member.order * hum.fundamental_hz;
        if (member.prominence < least_member_prominence ||
            std::abs(member.hz - hz) >= agreement_hz) {
          continue;
        }
        hum.lines.push_back(opening_line(*member.line, member.order, hz));
      }
      if (!best || hum.lines.size() > best->lines.size()) best = hum;
    }
  }
  return best;
}

HumFilter::HumFilter(const std::optional<MainsHum>& hum) {
  if (!hum) return;
  for (const HumLine& line : hum->lines) {
    // Notch after Zölzer (ed.), DAFX, 2011, section 2.2: an all-pass beside the direct path.
    const double hz = hum->fundamental_hz * line.order;
    LOWSTRIDE_EXPECTS(hz > 0.0 && hz < analysis_rate_hz / 2.0);
    const double alpha = std::tan(turn * notch_width_hz / 2.0 / analysis_rate_hz);
    const double gain = 1.0 / (1.0 + alpha);
    const double middle = -2.0 * std::cos(turn * hz / analysis_rate_hz) * gain;
    notches_.push_back({gain, middle, middle, (1.0 - alpha) * gain});
  }
  for (int n = -settling_samples; n < 0; ++n) {
    double value = 0.0;
    for (const HumLine& line : hum->lines) {
      const double turns = hum->fundamental_hz * line.order * n / analysis_rate_hz;
      value += line.amplitude * std::cos(turn * turns + line.phase_radians);
    }
    filter(value);
  }
}

double HumFilter::filter(double sample) noexcept {
  for (Notch& notch : notches_) {
    const double out = notch.b0 * sample + notch.s1;
    notch.s1 = notch.b1 * sample - notch.a1 * out + notch.s2;
    notch.s2 = notch.b0 * sample - notch.a2 * out;
    sample = out;
  }
  return sample;
}

void HumFilter::process(std::span<float> samples) noexcept {
  if (notches_.empty()) return;
  for (float& sample : samples) {
    sample = static_cast<float>(filter(static_cast<double>(sample)));
  }
}

}  // namespace lowstride::dsp
