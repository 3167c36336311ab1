#include "dsp/stretch/stretcher.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "dsp/base/contracts.hpp"
#include "dsp/stretch/band_splitter.hpp"
#include "dsp/stretch/band_vocoder.hpp"
#include "dsp/stretch/good_fft_size.hpp"
#include "dsp/stretch/onset_finder.hpp"
#include "dsp/stretch/onset_list.hpp"
#include "dsp/stretch/resampler.hpp"
#include "dsp/stretch/sample_ring.hpp"
#include "dsp/stretch/time_map.hpp"

namespace lowstride::dsp {

namespace {

using stretch::BandSplitter;
using stretch::BandVocoder;
using stretch::BandVocoderOptions;
using stretch::Onset;
using stretch::OnsetFinder;
using stretch::OnsetList;
using stretch::Place;
using stretch::Resampler;
using stretch::SampleRing;
using stretch::TimeMap;

constexpr std::size_t block_samples = 256;  // step of all work, on either time line
constexpr double least_pitch_ratio = 0.25;
constexpr double most_pitch_ratio = 4.0;

struct BandPlan {
  double to_hz;                // upper crossover
  std::size_t window_samples;  // at 44.1 kHz
  std::size_t overlap;         // frames that share a sample
  double whole_seconds;
  double hold_seconds;
  double fade_seconds;
  double energy_seconds;
  bool low_sidelobes;
};

// Partials of the lowest string of a five-string bass, 31 Hz apart, need windows of 190 ms;
// attacks of cymbals want 50 ms at most. How long an attack is played as it is: half a window in
// the low band; above, as long as brings drums nearest to drums played slowly (a rendered pair of
// clips at half speed: log-mel distance 3.6 dB, against 4.0 with 45 and 25 ms).
constexpr std::array<BandPlan, 3> plans{{
    {.to_hz = 700.0,
     .window_samples = 8192,
     .overlap = 8,
     .whole_seconds = 0.090,
     .hold_seconds = 0.060,
     .fade_seconds = 0.004,
     .energy_seconds = 0.024,
     .low_sidelobes = true},
    {.to_hz = 3000.0,
     .window_samples = 4096,
     .overlap = 8,
     .whole_seconds = 0.068,
     .hold_seconds = 0.030,
     .fade_seconds = 0.002,
     .energy_seconds = 0.012,
     .low_sidelobes = true},
    {.to_hz = 1e9,
     .window_samples = 2048,
     .overlap = 4,
     .whole_seconds = 0.048,
     .hold_seconds = 0.018,
     .fade_seconds = 0.001,
     .energy_seconds = 0.006,
     .low_sidelobes = false},
}};

std::size_t samples(double seconds, double rate_hz) {
  return static_cast<std::size_t>(std::llround(seconds * rate_hz));
}

/// Window of a plan at a sample rate.
std::size_t window_at(const BandPlan& plan, double rate_hz) {
  return stretch::good_fft_size(
      samples(static_cast<double>(plan.window_samples) / 44100.0, rate_hz));
}

/// Crossovers that lie well under half the sample rate.
std::vector<double> crossovers(double rate_hz) {
  std::vector<double> result;
  for (const BandPlan& plan : plans) {
    if (plan.to_hz < 0.3 * rate_hz) result.push_back(plan.to_hz);
  }
  return result;
}

std::vector<BandVocoder> vocoders(const StretchOptions& options) {
  const double rate = options.sample_rate_hz;
  const std::vector<double> corners = crossovers(rate);
  std::vector<BandVocoder> result;
  for (unsigned band = 0; band <= corners.size(); ++band) {
    const BandPlan& plan = plans[band];
    const std::size_t window = window_at(plan, rate);
    const double bins_per_hz = static_cast<double>(window) / rate;
    const std::size_t first =
        band == 0 ? 0 : static_cast<std::size_t>(corners[band - 1] * 0.62 * bins_per_hz);
    const std::size_t last =
        band == corners.size()
            ? window / 2 + 1
            : std::min(window / 2 + 1,
                       static_cast<std::size_t>(corners[band] * 1.4 * bins_per_hz) + 2);
    result.emplace_back(BandVocoderOptions{
        .channel_count = options.channel_count,
        .band_index = band,
        .window_samples = window,
        .hop_samples = window / plan.overlap,
        .whole_samples = samples(plan.whole_seconds, rate),
        .hold_samples = samples(plan.hold_seconds, rate),
        .fade_samples = std::max<std::size_t>(4, samples(plan.fade_seconds, rate)),
        .energy_samples = samples(plan.energy_seconds, rate),
        .first_bin = first,
        .last_bin = last,
        .low_sidelobes = plan.low_sidelobes});
  }
  return result;
}

double clean(double value, double lowest, double highest) noexcept {
  return std::isfinite(value) ? std::clamp(value, lowest, highest)
                              : std::clamp(1.0, lowest, highest);
}

}  // namespace

class Stretcher::Engine {
 public:
  explicit Engine(const StretchOptions& options)
      : options_(options),
        splitter_({.sample_rate_hz = options.sample_rate_hz,
                   .channel_count = options.channel_count,
                   .crossovers_hz = crossovers(options.sample_rate_hz)}),
        finder_({.sample_rate_hz = options.sample_rate_hz,
                 .channel_count = options.channel_count,
                 .crossovers_hz = crossovers(options.sample_rate_hz)}),
        longest_window_(window_at(plans.front(), options.sample_rate_hz)),
        vocoders_(vocoders(options)),
        map_(block_samples, 4 * longest_window_ + 4096),
        input_(options.channel_count, memory_samples()),
        bands_(splitter_.band_count(), SampleRing(options.channel_count, memory_samples())),
        sound_(options.channel_count, 4096 + 8 * block_samples) {
    clear();
  }

  void clear() noexcept {
    finder_.clear();
    for (BandVocoder& vocoder : vocoders_) vocoder.clear();
    onsets_.clear();
    unplaced_ = 0;
    map_.clear();
    input_.clear();
    for (SampleRing& band : bands_) band.clear();
    sound_.clear();
    settings_ = {};
    has_settings_ = false;
    settings_changed_ = false;
    is_ended_ = false;
    consumed_ = 0;
    padded_ = 0;
    produced_ = 0;
    read_place_ = 0.0;
    anchor_place_ = 0.0;
    anchor_produced_ = 0;
  }

  StretchProgress process(const StretchSettings& now, AudioView in, MutableAudioView out) noexcept {
    LOWSTRIDE_EXPECTS(in.channel_count() == options_.channel_count);
    LOWSTRIDE_EXPECTS(out.channel_count() == options_.channel_count);
    LOWSTRIDE_EXPECTS(!is_ended_);
    apply(now);
    StretchProgress progress;
    for (;;) {
      progress.produced_samples += write(out, progress.produced_samples, out.sample_count);
      if (progress.produced_samples == out.sample_count) return progress;
      if (can_render()) {
        render();
        continue;
      }
      const std::size_t left = in.sample_count - progress.consumed_samples;
      if (left == 0) return progress;
      const std::size_t count =
          std::min(left, block_samples - static_cast<std::size_t>(consumed_ % block_samples));
      accept(in, progress.consumed_samples, count);
      progress.consumed_samples += count;
    }
  }

  std::size_t drain(MutableAudioView out) noexcept {
    LOWSTRIDE_EXPECTS(out.channel_count() == options_.channel_count);
    if (!is_ended_) {
      is_ended_ = true;
      total_ = length_at_end();
    }
    const auto left = static_cast<std::size_t>(std::max<Place>(0, total_ - produced_));
    const std::size_t wanted = std::min(out.sample_count, left);
    std::size_t done = 0;
    for (;;) {
      done += write(out, done, wanted);
      if (done == wanted) return done;
      if (can_render()) {
        render();
      } else {
        pad();
      }
    }
  }

  [[nodiscard]] std::size_t latency_samples() const noexcept {
    // One block, half a window and a hop of sound at the highest speed, what an attack runs
    // ahead, and the read-ahead of the parts.
    const double sound = static_cast<double>(block_samples + longest_window_) +
                         static_cast<double>(Resampler::reach_samples(1.0));
    const double rate = std::max(1.0, options_.highest_speed);
    return static_cast<std::size_t>(sound * rate) + longest_window_ + finder_.read_ahead_samples() +
           splitter_.read_ahead_samples() + 2 * block_samples;
  }

  [[nodiscard]] double position_samples() const noexcept { return map_.input_at(read_place_); }

  [[nodiscard]] const StretchOptions& options() const noexcept { return options_; }

 private:
  [[nodiscard]] std::size_t memory_samples() const {
    const double fastest = std::max(1.0, options_.highest_speed / least_pitch_ratio);
    return static_cast<std::size_t>(static_cast<double>(3 * longest_window_) * fastest) +
           6 * longest_window_ + finder_.read_ahead_samples() + splitter_.read_ahead_samples() +
           8 * block_samples;
  }

  void apply(const StretchSettings& now) noexcept {
    const StretchSettings wanted{
        .speed = clean(now.speed, options_.lowest_speed, options_.highest_speed),
        .pitch_ratio = clean(now.pitch_ratio, least_pitch_ratio, most_pitch_ratio)};
    if (has_settings_ && wanted == settings_) return;
    settings_changed_ = has_settings_;
    settings_ = wanted;
    has_settings_ = true;
    anchor_place_ = read_place_;
    anchor_produced_ = produced_;
  }

  /// Samples of the whole output, when the input has just ended.
  [[nodiscard]] Place length_at_end() noexcept {
    if (consumed_ == 0) return 0;
    const auto length = static_cast<double>(consumed_);
    if (!settings_changed_) return static_cast<Place>(std::llround(length / settings_.speed));
    while (map_.input_end() < length) extend_map();
    const double sound_left = map_.stretched_at(length) - read_place_;
    return produced_ + static_cast<Place>(std::llround(sound_left / settings_.pitch_ratio));
  }

  void accept(AudioView in, std::size_t offset, std::size_t count) noexcept {
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      const auto source = in.channel(channel).subspan(offset, count);
      for (std::size_t n = 0; n < count; ++n) {
        const float value = source[n];
        input_.slot(channel, input_.end() + static_cast<Place>(n)) =
            std::isfinite(value) ? value : 0.0F;
      }
    }
    input_.advance(count);
    consumed_ += count;
    if (consumed_ % block_samples == 0) digest();
  }

  void pad() noexcept {
    const std::size_t count =
        block_samples - static_cast<std::size_t>((consumed_ + padded_) % block_samples);
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      for (std::size_t n = 0; n < count; ++n) {
        input_.slot(channel, input_.end() + static_cast<Place>(n)) = 0.0F;
      }
    }
    input_.advance(count);
    padded_ += count;
    digest();
  }

  void digest() noexcept {
    splitter_.advance(input_, bands_);
    finder_.advance(input_, bands_, onsets_);
  }

  [[nodiscard]] Place frames_until() const noexcept {
    return sound_.end() + static_cast<Place>(block_samples);
  }

  void extend_map() noexcept { map_.extend(settings_.pitch_ratio / settings_.speed); }

  /// Plans as far ahead as the next block of sound needs, then tells whether the input for the
  /// next step of `render` is there.
  [[nodiscard]] bool can_render() noexcept {
    const Place horizon = frames_until() + static_cast<Place>(2 * longest_window_);
    while (map_.stretched_end() < horizon) extend_map();
    const BandVocoder* const due = due_vocoder();
    return due == nullptr || static_cast<double>(finder_.known_until()) > due->needs_input(map_);
  }

  /// The lowest band that lacks a frame of the next block, or null.
  [[nodiscard]] const BandVocoder* due_vocoder() const noexcept {
    const Place until = frames_until();
    for (const BandVocoder& vocoder : vocoders_) {
      if (vocoder.starts_before(until)) return &vocoder;
    }
    return nullptr;
  }

  void place_onsets() noexcept {
    for (; unplaced_ < onsets_.size(); ++unplaced_) {
      Onset& onset = onsets_.at(unplaced_);
      if (static_cast<double>(onset.rise) >= map_.input_end()) return;
      const double rise = map_.stretched_at(static_cast<double>(onset.rise));
      onset.stretched = static_cast<Place>(std::floor(rise + 0.5)) - (onset.rise - onset.cut);
      onset.is_placed = true;
      // Where nothing is stretched nothing needs to be cut.
      if (map_.slope_at(rise) == 1.0) onset.bands = 0;
    }
  }

  /// Adds one frame to one band, or, where all have theirs, finishes a block of sound.
  void render() noexcept {
    place_onsets();
    if (const BandVocoder* const due = due_vocoder(); due != nullptr) {
      const auto band = static_cast<std::size_t>(due - vocoders_.data());
      vocoders_[band].add_frame(bands_[band], map_, onsets_);
      return;
    }
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      for (std::size_t n = 0; n < block_samples; ++n) {
        sound_.slot(channel, sound_.end() + static_cast<Place>(n)) = 0.0F;
      }
    }
    for (BandVocoder& vocoder : vocoders_) vocoder.take(sound_.end(), block_samples, sound_);
    sound_.advance(block_samples);
  }

  /// Writes what is ready of out[from, until).
  std::size_t write(MutableAudioView out, std::size_t from, std::size_t until) noexcept {
    const double step = settings_.pitch_ratio;
    const auto reach = static_cast<double>(Resampler::reach_samples(step));
    const auto limit = static_cast<double>(sound_.end()) - reach;
    std::size_t done = 0;
    while (from + done < until && read_place_ < limit) {
      for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
        out.channel(channel)[from + done] = resampler_.value(sound_, channel, read_place_, step);
      }
      ++done;
      ++produced_;
      read_place_ = anchor_place_ + static_cast<double>(produced_ - anchor_produced_) * step;
    }
    return done;
  }

  StretchOptions options_;
  BandSplitter splitter_;
  OnsetFinder finder_;
  std::size_t longest_window_;
  std::vector<BandVocoder> vocoders_;  // one a band, lowest first
  TimeMap map_;
  SampleRing input_;
  std::vector<SampleRing> bands_;
  SampleRing sound_;  // stretched, before the pitch is changed
  OnsetList onsets_;
  std::size_t unplaced_ = 0;  // first onset without a place in the stretched sound
  Resampler resampler_;

  StretchSettings settings_;
  bool has_settings_ = false;
  bool settings_changed_ = false;
  bool is_ended_ = false;
  std::size_t consumed_ = 0;
  std::size_t padded_ = 0;  // silence put in after the end
  Place produced_ = 0;
  Place total_ = 0;            // output of the whole stream, known at its end
  double read_place_ = 0.0;    // of the next output, in the stretched sound
  double anchor_place_ = 0.0;  // read_place_ and produced_ when the settings changed last
  Place anchor_produced_ = 0;
};

Stretcher::Stretcher(const StretchOptions& options) {
  LOWSTRIDE_EXPECTS(options.sample_rate_hz >= 8000.0 && options.sample_rate_hz <= 192000.0);
  LOWSTRIDE_EXPECTS(options.channel_count >= 1 && options.channel_count <= 8);
  LOWSTRIDE_EXPECTS(options.lowest_speed > 0.0 && options.lowest_speed <= options.highest_speed &&
                    options.highest_speed <= 16.0);
  engine_ = std::make_unique<Engine>(options);
}
Stretcher::Stretcher(Stretcher&&) noexcept = default;
Stretcher& Stretcher::operator=(Stretcher&&) noexcept = default;
Stretcher::~Stretcher() = default;

const StretchOptions& Stretcher::options() const noexcept { return engine_->options(); }

StretchProgress Stretcher::process(const StretchSettings& now, AudioView in,
                                   MutableAudioView out) noexcept {
  return engine_->process(now, in, out);
}

std::size_t Stretcher::drain(MutableAudioView out) noexcept { return engine_->drain(out); }

void Stretcher::reset() noexcept { engine_->clear(); }

std::size_t Stretcher::latency_samples() const noexcept { return engine_->latency_samples(); }

double Stretcher::position_samples() const noexcept { return engine_->position_samples(); }

}  // namespace lowstride::dsp
