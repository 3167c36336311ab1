#include "dsp/stretch/onset_finder.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/base/contracts.hpp"
#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp::stretch {

namespace {

constexpr Place past_frames = 18;    // 52 ms back …
constexpr Place skipped_frames = 4;  // … to 12 ms: a frame that holds the rise itself is no past
constexpr Place peak_frames = 7;     // a peak of novelty is the highest within 20 ms
constexpr float floor_db = -72.0F;   // under the loudest of the last seconds nothing is news
constexpr float absolute_floor_db = -110.0F;
constexpr float least_news_db = 1.0F;  // a swell (tremolo) rises by less in 12 ms
constexpr float most_rise_db = 20.0F;
constexpr float forget_db = 0.01F;  // a frame; 3.4 dB a second
constexpr Place fine_step = 16;     // samples at 44.1 kHz: 0.36 ms

std::size_t even(double value) {
  return 2 * static_cast<std::size_t>(std::max(4.0, std::floor(value / 2.0 + 0.5)));
}

std::size_t at_rate(std::size_t samples_at_44100, double sample_rate_hz) {
  return even(static_cast<double>(samples_at_44100) * sample_rate_hz / 44100.0);
}

}  // namespace

OnsetFinder::OnsetFinder(const OnsetFinderOptions& options)
    : options_(options),
      hop_(at_rate(128, options.sample_rate_hz)),
      fft_(at_rate(512, options.sample_rate_hz)),
      low_fft_(at_rate(4096, options.sample_rate_hz)),
      window_(hann_window(fft_.size())),
      low_window_(hann_window(low_fft_.size())),
      samples_(fft_.size()),
      low_samples_(low_fft_.size()),
      bins_(fft_.bin_count()),
      low_bins_(low_fft_.bin_count()),
      power_(std::max(fft_.bin_count(), low_fft_.bin_count())),
      power_before_(power_.size()),
      // From the past that a frame is compared with to the newest: a frame is judged when the low
      // band has been heard for a window after it, and at once then.
      frames_(static_cast<std::size_t>(past_frames + 2 * peak_frames + 8) + low_fft_.size() / hop_),
      steps_(256) {
  // Third-octave-like bands from 170 Hz up, at least one bin wide.
  const double bin_hz = options.sample_rate_hz / static_cast<double>(fft_.size());
  std::size_t first = 2;
  double edge_hz = 170.0;
  while (first < fft_.bin_count() - 1 && edge_hz < 16000.0) {
    edge_hz *= 1.22;
    const std::size_t last = std::min(
        std::max(first + 1, static_cast<std::size_t>(edge_hz / bin_hz)), fft_.bin_count() - 1);
    const double middle_hz = 0.5 * static_cast<double>(first + last) * bin_hz;
    const auto above =
        std::upper_bound(options.crossovers_hz.begin(), options.crossovers_hz.end(), middle_hz);
    hearing_.push_back({.first_bin = first,
                        .last_bin = last,
                        .band = static_cast<unsigned>(above - options.crossovers_hz.begin())});
    first = last;
    edge_hz = std::max(edge_hz, static_cast<double>(last) * bin_hz);
  }
  for (Frame& each : frames_) each.level_db.resize(hearing_.size());
  clear();
}

void OnsetFinder::clear() noexcept {
  for (Frame& each : frames_) {
    std::fill(each.level_db.begin(), each.level_db.end(), absolute_floor_db);
    each.novelty_db = 0.0F;
  }
  loudest_db_ = -300.0F;
  next_frame_ = 0;
  next_judged_ = 0;
  last_rise_ = -1000000;
  known_until_ = 0;
}

std::size_t OnsetFinder::read_ahead_samples() const noexcept {
  return low_fft_.size() + static_cast<std::size_t>(2 * peak_frames + 6) * hop_;
}

void OnsetFinder::advance(const SampleRing& input, const std::vector<SampleRing>& bands,
                          OnsetList& onsets) noexcept {
  const Place end = bands.front().end();
  const auto hop = static_cast<Place>(hop_);
  while (next_frame_ * hop + static_cast<Place>(fft_.size()) / 2 <= end) {
    measure(input, next_frame_++);
    // A frame is judged when its neighbours are measured and the low band can be compared; before
    // the next is measured, which may write over its past.
    while (next_judged_ + peak_frames < next_frame_ &&
           (next_judged_ + 4) * hop + static_cast<Place>(low_fft_.size()) <= end) {
      judge(bands, next_judged_++, onsets);
    }
  }
  // The rise of a frame judged later lies no more than 20 ms before that frame.
  known_until_ = (next_judged_ - peak_frames - 1) * hop;
}

void OnsetFinder::measure(const SampleRing& input, Place index) noexcept {
  const Place begin = index * static_cast<Place>(hop_) - static_cast<Place>(fft_.size()) / 2;
  std::fill(power_.begin(), power_.begin() + static_cast<std::ptrdiff_t>(fft_.bin_count()), 0.0F);
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    input.read(channel, begin, samples_);
    for (std::size_t n = 0; n < samples_.size(); ++n) samples_[n] *= window_[n];
    fft_.forward(samples_, bins_);
    for (std::size_t k = 0; k < bins_.size(); ++k) power_[k] += std::norm(bins_[k]);
  }
  Frame& now = frame(index);
  const auto scale = 4.0F / static_cast<float>(fft_.size() * fft_.size());
  float loudest = absolute_floor_db;
  for (std::size_t band = 0; band < hearing_.size(); ++band) {
    float sum = 1e-20F;
    for (std::size_t k = hearing_[band].first_bin; k < hearing_[band].last_bin; ++k) {
      sum += power_[k];
    }
    now.level_db[band] = 10.0F * std::log10(sum * scale);
    loudest = std::max(loudest, now.level_db[band]);
  }
  loudest_db_ = std::max(loudest, loudest_db_ - forget_db);
  const float floor = std::max(absolute_floor_db, loudest_db_ + floor_db);
  for (float& level : now.level_db) level = std::max(level, floor);
  float sum = 0.0F;
  for (std::size_t band = 0; band < hearing_.size(); ++band) sum += rise_db(index, band);
  now.novelty_db = sum / static_cast<float>(hearing_.size());
}

float OnsetFinder::rise_db(Place index, std::size_t band) noexcept {
  float past = absolute_floor_db;
  for (Place back = skipped_frames; back <= past_frames && back <= index; ++back) {
    past = std::max(past, frame(index - back).level_db[band]);
  }
  return std::clamp(frame(index).level_db[band] - past - least_news_db, 0.0F, most_rise_db);
}

void OnsetFinder::judge(const std::vector<SampleRing>& bands, Place index,
                        OnsetList& onsets) noexcept {
  const float novelty = frame(index).novelty_db;
  if (novelty < static_cast<float>(options_.threshold_db)) return;
  for (Place other = std::max<Place>(0, index - peak_frames); other <= index + peak_frames;
       ++other) {
    if (other < index ? frame(other).novelty_db >= novelty : frame(other).novelty_db > novelty) {
      return;
    }
  }
  const Place rise = place_rise(bands, index * static_cast<Place>(hop_));
  const auto least_gap = static_cast<Place>(options_.least_gap_seconds * options_.sample_rate_hz);
  const auto guard = static_cast<Place>(0.001 * options_.sample_rate_hz);
  if (rise - last_rise_ < least_gap || rise <= guard) return;
  Onset onset{.cut = rise - guard, .rise = rise};
  std::array<float, 32> sums{};
  std::array<float, 32> counts{};
  for (std::size_t band = 0; band < hearing_.size(); ++band) {
    sums[hearing_[band].band] += rise_db(index, band);
    counts[hearing_[band].band] += 1.0F;
  }
  for (std::size_t band = 1; band < bands.size(); ++band) {
    if (sums[band] > static_cast<float>(options_.band_rise_db) * counts[band]) {
      onset.bands |= 1U << band;
    }
  }
  if (low_band_changes(bands.front(), onset.cut)) onset.bands |= 1U;
  if (onset.bands == 0) return;
  last_rise_ = rise;
  onsets.append(onset);
}

Place OnsetFinder::place_rise(const std::vector<SampleRing>& bands, Place around) noexcept {
  // Energies of short steps from 26 ms before to 14 ms after, of all that lies over the lowest
  // crossover.
  const auto step = std::max<Place>(
      4, static_cast<Place>(static_cast<double>(fine_step) * options_.sample_rate_hz / 44100.0));
  constexpr Place before = 72;
  constexpr Place after = 40;
  constexpr Place ahead = 3;    // 1 ms: longer would find it before it is there
  constexpr Place behind = 12;  // 4 ms
  float highest = 0.0F;
  for (Place n = 0; n < before + after; ++n) {
    const Place begin = around + (n - before) * step;
    float sum = 0.0F;
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      for (Place place = begin; place < begin + step; ++place) {
        float value = 0.0F;
        for (std::size_t band = 1; band < bands.size(); ++band) {
          value += bands[band].at(channel, place);
        }
        sum += value * value;
      }
    }
    steps_[static_cast<std::size_t>(n)] = sum;
    highest = std::max(highest, sum);
  }
  Place best = before;
  float best_ratio = 0.0F;
  for (Place n = behind; n + ahead <= before + after; ++n) {
    float later = 0.0F;
    float earlier = 0.0F;
    for (Place k = 0; k < ahead; ++k) later += steps_[static_cast<std::size_t>(n + k)];
    for (Place k = 1; k <= behind; ++k) earlier += steps_[static_cast<std::size_t>(n - k)];
    const float ratio = later / (earlier + 1e-3F * highest + 1e-12F);
    if (ratio > best_ratio) {
      best_ratio = ratio;
      best = n;
    }
  }
  // Within it, the first sample that stands out of what was before and of what comes.
  const Place begin = around + (best - before) * step - step;
  const auto sample = [&](std::size_t channel, Place place) {
    float value = 0.0F;
    for (std::size_t band = 1; band < bands.size(); ++band) value += bands[band].at(channel, place);
    return std::abs(value);
  };
  float earlier = 0.0F;
  float later = 0.0F;
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    for (Place n = 0; n < behind * step; ++n) {
      earlier = std::max(earlier, sample(channel, begin - 1 - n));
    }
    for (Place n = 0; n < 4 * step; ++n) later = std::max(later, sample(channel, begin + n));
  }
  const float level = std::min(0.5F * later, std::max(0.15F * later, 1.2F * earlier));
  for (Place n = 0; n < 4 * step; ++n) {
    for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
      if (sample(channel, begin + n) >= level) return begin + n;
    }
  }
  return begin + step;
}

bool OnsetFinder::low_band_changes(const SampleRing& low, Place cut) noexcept {
  const auto size = static_cast<Place>(low_fft_.size());
  const auto last =
      static_cast<std::size_t>(1.3 * options_.crossovers_hz.front() / options_.sample_rate_hz *
                               static_cast<double>(low_fft_.size()));
  std::fill(power_.begin(), power_.end(), 0.0F);
  std::fill(power_before_.begin(), power_before_.end(), 0.0F);
  for (std::size_t channel = 0; channel < options_.channel_count; ++channel) {
    for (const bool later : {false, true}) {
      low.read(channel, later ? cut : cut - size, low_samples_);
      for (std::size_t n = 0; n < low_samples_.size(); ++n) low_samples_[n] *= low_window_[n];
      low_fft_.forward(low_samples_, low_bins_);
      auto& power = later ? power_ : power_before_;
      for (std::size_t k = 0; k < last; ++k) power[k] += std::norm(low_bins_[k]);
    }
  }
  float all = 1e-9F;
  float fresh = 0.0F;
  for (std::size_t k = 0; k < last; ++k) {
    const float rise = std::sqrt(power_[k]) - std::sqrt(power_before_[k]);
    if (rise > 0.0F) fresh += rise * rise;
    all += power_[k];
  }
  return fresh > static_cast<float>(options_.low_change_share) * all;
}

}  // namespace lowstride::dsp::stretch
