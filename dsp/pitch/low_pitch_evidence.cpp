#include "dsp/pitch/low_pitch_evidence.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <vector>

#include "dsp/base/contracts.hpp"
#include "dsp/spectrum/real_fft.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t pitch_count = evidence_pitch_count;
constexpr std::size_t long_samples = 8192;   // 372 ms: parts semitones from E1 by their partials
constexpr std::size_t short_samples = 4096;  // 186 ms: follows fast lines
constexpr std::size_t flux_samples = 2048;   // 93 ms: rise of single partials
constexpr std::size_t broad_samples = 1024;  // 46 ms: sharp strikes
constexpr std::size_t half_history = long_samples / 2;
constexpr int bins_per_semitone = 3;
constexpr double map_lowest_midi = 11.0;
constexpr std::size_t map_bins = 280;
constexpr std::size_t band_count = 40;
constexpr std::size_t partial_count = 8;
constexpr std::size_t lag_frames = 2;  // flux compares frames this far before and after

using PitchRow = std::array<float, pitch_count>;
using MapRow = std::array<float, map_bins>;
using BandRow = std::array<float, band_count>;

float log_level(float magnitude) { return std::log10(magnitude + 2e-5F); }

// Windowed magnitude spectrum, scaled so that a sine of amplitude 1 reads 1.
class Analyser {
 public:
  Analyser(std::size_t window_samples, std::size_t fft_size)
      : fft_(fft_size),
        window_(hann_window(window_samples)),
        frame_(fft_size, 0.0F),
        bins_(fft_.bin_count()),
        magnitudes_(fft_.bin_count()) {
    for (float& value : window_) value *= 4.0F / static_cast<float>(window_samples);
  }

  // `around`: long_samples samples whose middle is the frame's centre.
  std::span<const float> read(std::span<const float> around) {
    const std::size_t skip = (around.size() - window_.size()) / 2;
    for (std::size_t n = 0; n < window_.size(); ++n) frame_[n] = around[skip + n] * window_[n];
    fft_.forward(frame_, bins_);
    for (std::size_t k = 0; k < bins_.size(); ++k) magnitudes_[k] = std::abs(bins_[k]);
    return magnitudes_;
  }
  double bin_hz() const { return analysis_rate_hz / static_cast<double>(fft_.size()); }

 private:
  RealFft fft_;
  std::vector<float> window_;
  std::vector<float> frame_;
  std::vector<std::complex<float>> bins_;
  std::vector<float> magnitudes_;
};

// Interpolates a magnitude spectrum at bins_per_semitone on the tuned grid.
class LogMap {
 public:
  LogMap(double bin_hz, double a4_hz) {
    for (std::size_t j = 0; j < map_bins; ++j) {
      const double midi = map_lowest_midi + static_cast<double>(j) / bins_per_semitone;
      position_[j] = a4_hz * std::exp2((midi - 69.0) / 12.0) / bin_hz;
    }
  }
  MapRow read(std::span<const float> magnitudes) const {
    MapRow row{};
    for (std::size_t j = 0; j < map_bins; ++j) {
      const auto k = static_cast<std::size_t>(position_[j]);
      const auto part = static_cast<float>(position_[j] - static_cast<double>(k));
      row[j] = log_level(magnitudes[k] * (1.0F - part) + magnitudes[k + 1] * part);
    }
    return row;
  }

 private:
  std::array<double, map_bins> position_{};
};

// How far each bin stands out above its neighbourhood of half an octave either way, in decades.
MapRow whiten(const MapRow& level) {
  constexpr std::size_t reach = 18;
  MapRow out{};
  double sum = 0.0;
  std::size_t low = 0;
  std::size_t high = 0;
  for (std::size_t j = 0; j < map_bins; ++j) {
    for (; high < std::min(map_bins, j + reach + 1); ++high)
      sum += static_cast<double>(level[high]);
    for (; low + reach < j; ++low) sum -= static_cast<double>(level[low]);
    const auto mean = static_cast<float>(sum / static_cast<double>(high - low));
    out[j] = std::clamp(level[j] - mean, 0.0F, 1.2F);
  }
  return out;
}

std::size_t map_index(std::size_t pitch) {
  return static_cast<std::size_t>((static_cast<double>(lowest_evidence_midi) - map_lowest_midi) *
                                      bins_per_semitone +
                                  static_cast<double>(pitch * bins_per_semitone));
}

int partial_shift(double multiple) {
  return static_cast<int>(std::lround(12.0 * bins_per_semitone * std::log2(multiple)));
}

// Value at a multiple of a pitch, the best of the bin and its neighbours (stretched partials).
float at_partial(const MapRow& row, std::size_t pitch, int shift) {
  const int centre = static_cast<int>(map_index(pitch)) + shift;
  float best = 0.0F;
  for (int j = centre - 1; j <= centre + 1; ++j) {
    if (j >= 0 && j < static_cast<int>(map_bins))
      best = std::max(best, row[static_cast<std::size_t>(j)]);
  }
  return best;
}

class SalienceRule {
 public:
  SalienceRule() {
    for (std::size_t h = 0; h < partial_count; ++h) {
      shift_[h] = partial_shift(static_cast<double>(h + 1));
    }
  }

  PitchRow read(const MapRow& level) const {
    const MapRow white = whiten(level);
    // The low voice is seldom far weaker than what sounds beside it below 600 Hz.
    const float loudest = *std::max_element(level.begin() + 30, level.begin() + 170);
    constexpr std::array<float, partial_count> weight{1.0F, 1.0F, 0.9F,  0.8F,
                                                      0.7F, 0.6F, 0.45F, 0.35F};
    PitchRow out{};
    for (std::size_t p = 0; p < pitch_count; ++p) {
      std::array<float, partial_count> a{};
      float sum = 0.0F;
      for (std::size_t h = 0; h < partial_count; ++h) {
        a[h] = at_partial(white, p, shift_[h]);
        sum += weight[h] * a[h];
      }
      const float odd = a[0] + a[2] + a[4];
      const float even = a[1] + a[3] + a[5];
      // A sub-octave has partials at even multiples only.
      const float below = std::max(0.0F, even - 1.5F * odd);
      // A super-octave, or the twelfth, leaves the partials between its own unexplained.
      float between = 0.0F;
      for (const double multiple : {0.5, 1.5, 2.5}) {
        between += at_partial(white, p, partial_shift(multiple));
      }
      float thirds = 0.0F;
      for (const double multiple : {1.0 / 3.0, 2.0 / 3.0, 4.0 / 3.0, 5.0 / 3.0}) {
        thirds += at_partial(white, p, partial_shift(multiple));
      }
      float own = -9.0F;
      for (std::size_t h = 0; h < 3; ++h) {
        own = std::max(own, level[map_index(p) + static_cast<std::size_t>(shift_[h])]);
      }
      const float standing = std::max(own - loudest, -2.0F);
      out[p] = sum - 0.8F * below - 0.8F * between - 0.25F * thirds + standing;
    }
    return out;
  }

 private:
  std::array<int, partial_count> shift_{};
};

// Triangular bands, evenly spaced by logarithm over 40 Hz to 10.5 kHz.
class Bands {
 public:
  explicit Bands(double bin_hz) {
    const double step = std::log(10500.0 / 40.0) / static_cast<double>(band_count + 1);
    for (std::size_t b = 0; b < band_count + 2; ++b) {
      edge_[b] = 40.0 * std::exp(step * static_cast<double>(b)) / bin_hz;
    }
  }
  BandRow read(std::span<const float> magnitudes) const {
    BandRow row{};
    for (std::size_t b = 0; b < band_count; ++b) {
      const auto first = static_cast<std::size_t>(edge_[b]);
      const auto last = static_cast<std::size_t>(edge_[b + 2]) + 1;
      double sum = 0.0;
      double weights = 0.0;
      for (std::size_t k = first; k <= last && k < magnitudes.size(); ++k) {
        const double x = static_cast<double>(k);
        const double rise = (x - edge_[b]) / (edge_[b + 1] - edge_[b]);
        const double fall = (edge_[b + 2] - x) / (edge_[b + 2] - edge_[b + 1]);
        const double weight = std::max(std::min(rise, fall), 1e-3);
        sum += weight * static_cast<double>(magnitudes[k]);
        weights += weight;
      }
      row[b] = log_level(static_cast<float>(sum / weights));
    }
    return row;
  }

 private:
  std::array<double, band_count + 2> edge_{};
};

float logistic(float x) { return 1.0F / (1.0F + std::exp(-x)); }

}  // namespace

struct LowPitchEvidence::State {
  explicit State(const LowPitchEvidenceOptions& given)
      : options(given),
        long_map(long_analyser.bin_hz(), given.a4_hz),
        short_map(short_analyser.bin_hz(), given.a4_hz),
        flux_map(flux_analyser.bin_hz(), given.a4_hz),
        bands(broad_analyser.bin_hz()),
        history(half_history, 0.0F) {}

  void analyse(std::span<const float> around) {
    const MapRow long_level = long_map.read(long_analyser.read(around));
    const MapRow short_level = short_map.read(short_analyser.read(around));
    const PitchRow slow = rule.read(long_level);
    const PitchRow fast = rule.read(short_level);
    PitchRow both{};
    for (std::size_t p = 0; p < pitch_count; ++p) both[p] = 0.5F * (slow[p] + fast[p]);
    salience.append(both);
    partials.push_back(flux_map.read(flux_analyser.read(around)));
    broad.push_back(bands.read(broad_analyser.read(around)));
    if (partials.size() > 2 * lag_frames + 1) {
      partials.erase(partials.begin());
      broad.erase(broad.begin());
    }
    if (partials.size() == 2 * lag_frames + 1) add_rise();
  }

  void add_rise() {
    constexpr std::size_t centre = lag_frames;
    constexpr float weight = 0.6F;  // from partial to partial: chords share the upper ones
    float sharp = 0.0F;
    for (std::size_t b = 0; b < band_count; ++b) {
      sharp += std::max(0.0F, broad[centre + 1][b] - broad[centre - 1][b]);
    }
    PitchRow out{};
    for (std::size_t p = 0; p < pitch_count; ++p) {
      float own = 0.0F;
      float share = 1.0F;
      for (std::size_t h = 0; h < 6; ++h, share *= weight) {
        const auto shift = static_cast<std::size_t>(partial_shift(static_cast<double>(h + 1)));
        const std::size_t j = map_index(p) + shift;
        own += share * std::max(0.0F, partials[2 * centre][j] - partials[0][j]);
      }
      out[p] = logistic(4.0F * own + 9.0F * sharp / static_cast<float>(band_count) - 8.0F);
    }
    rise.append(out);
  }

  LowPitchEvidenceOptions options;
  Analyser long_analyser{long_samples, 8192};
  Analyser short_analyser{short_samples, 8192};
  Analyser flux_analyser{flux_samples, 4096};
  Analyser broad_analyser{broad_samples, 1024};
  LogMap long_map;
  LogMap short_map;
  LogMap flux_map;
  Bands bands;
  SalienceRule rule;
  std::vector<float> history;  // from half a long window before the next frame's centre
  std::size_t sample_count = 0;
  std::vector<MapRow> partials;  // the last frames, for the rise
  std::vector<BandRow> broad;
  Table salience{0, pitch_count};
  Table rise{0, pitch_count};

  void drain() {
    std::size_t begin = 0;
    while (history.size() - begin >= long_samples) {
      analyse(std::span<const float>(history).subspan(begin, long_samples));
      begin += evidence_hop_samples;
    }
    history.erase(history.begin(), history.begin() + static_cast<std::ptrdiff_t>(begin));
  }
};

LowPitchEvidence::LowPitchEvidence(const LowPitchEvidenceOptions& options)
    : state_(std::make_unique<State>(options)) {
  LOWSTRIDE_EXPECTS(options.a4_hz >= 400.0 && options.a4_hz <= 480.0);
}
LowPitchEvidence::LowPitchEvidence(LowPitchEvidence&&) noexcept = default;
LowPitchEvidence& LowPitchEvidence::operator=(LowPitchEvidence&&) noexcept = default;
LowPitchEvidence::~LowPitchEvidence() = default;

void LowPitchEvidence::process(std::span<const float> samples) {
  constexpr std::size_t piece_samples = 16384;
  while (!samples.empty()) {
    const auto piece = samples.first(std::min(piece_samples, samples.size()));
    for (const float sample : piece) {
      state_->history.push_back(std::isfinite(sample) ? sample * state_->options.gain : 0.0F);
    }
    state_->sample_count += piece.size();
    state_->drain();
    samples = samples.subspan(piece.size());
  }
}

void LowPitchEvidence::finish(Evidence& evidence) {
  State& state = *state_;
  const std::size_t frames =
      state.sample_count == 0 ? 0 : state.sample_count / evidence_hop_samples + 1;
  state.history.insert(state.history.end(), long_samples + lag_frames * evidence_hop_samples, 0.0F);
  state.drain();

  evidence.a4_hz = state.options.a4_hz;
  evidence.pitch = Table(frames, pitch_count + 1);
  evidence.onset = Table(frames, pitch_count);
  evidence.dead.assign(frames, 0.0F);
  for (std::size_t frame = 0; frame < frames; ++frame) {
    const auto salience = state.salience.row(frame);
    const auto posterior = evidence.pitch.row(frame);
    constexpr float sharpness = 2.2F;
    constexpr float none_salience = 1.7F;
    constexpr float slope = 0.04F;  // the lower of two voices
    float sum = 0.0F;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      posterior[p] = std::exp(sharpness * (salience[p] - slope * static_cast<float>(p)));
      sum += posterior[p];
    }
    posterior[no_pitch_column] = std::exp(sharpness * none_salience);
    sum += posterior[no_pitch_column];
    for (float& value : posterior) value /= sum;
    // Rows of `rise` begin lag_frames late.
    const auto onset = evidence.onset.row(frame);
    if (frame >= lag_frames && frame - lag_frames < state.rise.row_count()) {
      std::ranges::copy(state.rise.row(frame - lag_frames), onset.begin());
    }
  }
}

}  // namespace lowstride::dsp
