#include "dsp/rhythm/pulse_path.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

constexpr float impossible = -std::numeric_limits<float>::infinity();
constexpr double lattice_step = 0.02;  // ratio of neighbouring periods, less one
constexpr float ratio_price = 60.0F;   // of a change of period, per unit of |ratio − 1|
constexpr int largest_change = 8;      // lattice steps a beat: 17 %
constexpr float jump_price = 20.0F;    // of any other change of period
constexpr float strike_weight = 1.0F;  // of log(activation) on a beat
constexpr double miss_weight = 0.25;   // of log(1 - activation) on a frame off the beat
// The nets were taught strikes of 18 ms standard deviation, so each is seven frames wide however
// fast the pulse: its slopes must not be held against the beat that they belong to.
constexpr std::size_t narrowest_guard = 3;
constexpr float enter_price = 2.0F;   // of beginning to beat
constexpr float gap_price = 40.0F;    // of stopping within a recording: about ten silent beats
constexpr std::size_t gap_guard = 3;  // frames after a beat before idling pays
constexpr float smallest_activation = 0.02F;  // a silent beat costs about what a struck one gains
constexpr float idle_weight = 1.5F;           // a strike without a pulse needs explaining
constexpr float weakest_strike = 0.2F;
// Frames whose way back is kept at once (6.3 min); a longer recording is searched twice.
constexpr std::size_t page_frames = 32768;

/// One point of the period lattice, with the intervals that it allows.
struct Period {
  double frames = 0.0;
  std::size_t guard_frames = 0;  // a twelfth, and no less than a strike is wide
  std::size_t shortest_interval = 0;
  std::vector<float> interval_price;  // by interval − shortest_interval
};

std::vector<Period> make_lattice(const PulseOptions& options) {
  std::vector<Period> lattice;
  const double range = std::log(options.longest_period_frames / options.shortest_period_frames);
  const auto count = static_cast<std::size_t>(std::ceil(range / std::log1p(lattice_step))) + 1;
  for (std::size_t k = 0; k < count; ++k) {
    Period period;
    period.frames = options.shortest_period_frames *
                    std::exp(range * static_cast<double>(k) / static_cast<double>(count - 1));
    period.guard_frames = std::max(narrowest_guard, static_cast<std::size_t>(period.frames / 12.0));
    // Players scatter by about 15 ms about their own tempo (REFERENCES: mean change of interval).
    const double spread = std::max(1.0, 0.02 * period.frames);
    const auto reach = static_cast<std::size_t>(std::ceil(1.5 * spread));
    const auto nearest = static_cast<std::size_t>(std::lround(period.frames));
    period.shortest_interval = nearest - reach;
    for (std::size_t d = nearest - reach; d <= nearest + reach; ++d) {
      const double miss = (static_cast<double>(d) - period.frames) / spread;
      period.interval_price.push_back(static_cast<float>(0.5 * miss * miss));
    }
    lattice.push_back(std::move(period));
  }
  return lattice;
}

class PulseSearch {
 public:
  PulseSearch(std::span<const float> beat, const PulseOptions& options)
      : frame_count_(beat.size()),
        lattice_(make_lattice(options)),
        fixed_(options.fixed_frames),
        activation_(beat.size()),
        silence_(beat.size() + 1, 0.0),
        idling_(beat.size() + 1, 0.0),
        back_(std::min(beat.size(), page_frames) * lattice_.size(), 0),
        idle_(beat.size() + 1, impossible),
        idle_from_(beat.size() + 1, nothing),
        best_score_(beat.size(), impossible),
        best_period_(beat.size(), 0) {
    for (const auto& period : lattice_) {
      interval_count_ = std::max(interval_count_, period.interval_price.size());
    }
    LOWSTRIDE_EXPECTS(lattice_.size() < 256 && lattice_.size() * interval_count_ < 65535);
    const auto& longest = lattice_.back();
    ring_size_ = longest.shortest_interval + longest.interval_price.size() + 1;
    now_.leave.assign(ring_size_ * lattice_.size(), impossible);
    now_.leave_from.assign(now_.leave.size(), 0);
    for (std::size_t t = 0; t < frame_count_; ++t) {
      activation_[t] = strike_weight * std::log(std::max(smallest_activation, beat[t]));
      const double not_beat =
          miss_weight * std::log(std::max(1e-3, 1.0 - static_cast<double>(beat[t])));
      silence_[t + 1] = silence_[t] + not_beat;
      const bool is_strike = beat[t] >= weakest_strike;
      idling_[t + 1] = idling_[t] + (is_strike ? idle_weight / miss_weight * not_beat : 0.0);
    }
    for (const std::size_t frame : fixed_) activation_[frame] = 0.0F;
    const double step_ratio = lattice_[1].frames / lattice_[0].frames;
    for (int step = -largest_change; step <= largest_change; ++step) {
      const double ratio = std::pow(step_ratio, static_cast<double>(step));
      change_price_.push_back(ratio_price * static_cast<float>(std::abs(ratio - 1.0)));
    }
  }

  PulsePath run() {
    for (std::size_t begin = 0; begin < frame_count_; begin += page_frames) {
      page_starts_.push_back(now_);
      search_page(begin / page_frames);
    }
    now_.passed = fixed_.size();
    idle_until(frame_count_);
    return trace();
  }

 private:
  static constexpr std::size_t nothing = std::numeric_limits<std::size_t>::max();

  /// What the search of a frame needs of the frames before it, beside what is kept of each.
  struct Memory {
    std::size_t passed = 0;    // fixed frames before the present one
    std::vector<float> leave;  // [frame % ring_size][period]
    std::vector<std::uint8_t> leave_from;
  };

  /// Searches the frames of a page, from the present memory on.
  void search_page(std::size_t page) {
    page_ = page;
    std::vector<float> arrive(lattice_.size());
    const std::size_t end = std::min(frame_count_, (page + 1) * page_frames);
    for (std::size_t t = page * page_frames; t < end; ++t) {
      while (now_.passed < fixed_.size() && fixed_[now_.passed] < t) ++now_.passed;
      idle_until(t);
      arrive_at(t, arrive);
      leave_at(t, arrive);
    }
  }
  /// Where frame t with period k came from. Searches the frame's page again where another was
  /// searched since: the same steps, which write the same values once more.
  [[nodiscard]] std::uint16_t back(std::size_t t, std::size_t k) {
    if (t / page_frames != page_) {
      now_ = page_starts_[t / page_frames];
      search_page(t / page_frames);
    }
    return back_[(t % page_frames) * lattice_.size() + k];
  }

  [[nodiscard]] float silent(std::size_t begin, std::size_t end) const {
    return end > begin ? static_cast<float>(silence_[end] - silence_[begin]) : 0.0F;
  }
  /// What frames pay while nothing beats: strikes alone count.
  [[nodiscard]] float idling(std::size_t begin, std::size_t end) const {
    return end > begin ? static_cast<float>(idling_[end] - idling_[begin]) : 0.0F;
  }
  /// The last fixed frame before the present one, or 0.
  [[nodiscard]] std::size_t last_fixed() const {
    return now_.passed > 0 ? fixed_[now_.passed - 1] : 0;
  }

  /// Score of idling just before frame t.
  void idle_until(std::size_t t) {
    if (t == 0) {
      idle_[0] = 0.0F;
      return;
    }
    const bool is_beat_before = now_.passed > 0 && last_fixed() == t - 1;
    if (!is_beat_before) {
      idle_[t] = idle_[t - 1] + idling(t - 1, t);
      idle_from_[t] = idle_from_[t - 1];
    }
    if (t < 1 + gap_guard) return;
    const std::size_t stop = t - 1 - gap_guard;
    if (now_.passed > 0 && last_fixed() > stop) return;
    const float stopped = best_score_[stop] - gap_price;
    if (stopped > idle_[t]) {
      idle_[t] = stopped;
      idle_from_[t] = stop;
    }
  }

  /// Best score of a beat on frame t with each period, and where it came from.
  void arrive_at(std::size_t t, std::vector<float>& arrive) {
    for (std::size_t k = 0; k < lattice_.size(); ++k) {
      const Period& period = lattice_[k];
      const std::size_t begin_idle = t > period.guard_frames ? t - period.guard_frames : 0;
      float best = impossible;
      std::uint16_t from = 0;
      if (now_.passed == 0 || last_fixed() < begin_idle) best = idle_[begin_idle] - enter_price;
      for (std::size_t j = 0; j < period.interval_price.size(); ++j) {
        const std::size_t interval = period.shortest_interval + j;
        if (interval > t || t - interval < last_fixed()) break;
        const std::size_t begin = t - interval;
        const std::size_t at = (begin % ring_size_) * lattice_.size() + k;
        const float score = now_.leave[at] - period.interval_price[j] +
                            silent(begin + period.guard_frames + 1, t - period.guard_frames);
        if (score > best) {
          best = score;
          from = static_cast<std::uint16_t>(1 + now_.leave_from[at] * interval_count_ + j);
        }
      }
      arrive[k] = best + activation_[t];
      back_[(t % page_frames) * lattice_.size() + k] = from;
    }
  }

  /// Best score of going on from a beat on frame t with each period.
  void leave_at(std::size_t t, const std::vector<float>& arrive) {
    const auto count = static_cast<int>(lattice_.size());
    const auto best = std::max_element(arrive.begin(), arrive.end()) - arrive.begin();
    best_score_[t] = arrive[static_cast<std::size_t>(best)];
    best_period_[t] = static_cast<std::uint8_t>(best);
    const std::size_t row = (t % ring_size_) * lattice_.size();
    for (int k = 0; k < count; ++k) {
      float score = best_score_[t] - jump_price;
      auto from = static_cast<int>(best);
      const int last = std::min(count - 1, k + largest_change);
      for (int old = std::max(0, k - largest_change); old <= last; ++old) {
        const int change = k - old + largest_change;
        const float here =
            arrive[static_cast<std::size_t>(old)] - change_price_[static_cast<std::size_t>(change)];
        if (here > score) {
          score = here;
          from = old;
        }
      }
      now_.leave[row + static_cast<std::size_t>(k)] = score;
      now_.leave_from[row + static_cast<std::size_t>(k)] = static_cast<std::uint8_t>(from);
    }
  }

  [[nodiscard]] PulsePath trace() {
    // Idling to the end needs no price when it never began to beat.
    float best = idle_from_[frame_count_] == nothing ? idle_[frame_count_] : impossible;
    std::size_t t = nothing;
    const std::size_t earliest_end = fixed_.empty() ? 0 : fixed_.back();
    for (std::size_t end = earliest_end; end < frame_count_; ++end) {
      const float score = best_score_[end] + idling(end + 1 + gap_guard, frame_count_);
      if (score > best) {
        best = score;
        t = end;
      }
    }
    PulsePath path{{}, static_cast<double>(best)};
    std::vector<std::size_t>& beats = path.frames;
    std::size_t k = t == nothing ? 0 : best_period_[t];
    while (t != nothing) {
      beats.push_back(t);
      const std::size_t code = back(t, k);
      if (code == 0) {
        const std::size_t guard = lattice_[k].guard_frames;
        t = idle_from_[t > guard ? t - guard : 0];
        if (t != nothing) k = best_period_[t];
      } else {
        t -= lattice_[k].shortest_interval + (code - 1) % interval_count_;
        k = (code - 1) / interval_count_;
      }
    }
    std::reverse(beats.begin(), beats.end());
    return path;
  }

  std::size_t frame_count_;
  std::vector<Period> lattice_;
  std::vector<std::size_t> fixed_;
  std::size_t interval_count_ = 0;
  std::size_t ring_size_ = 0;
  std::vector<float> activation_;         // log, [frame]
  std::vector<double> silence_, idling_;  // running sum of what frames without a beat pay
  std::vector<float> change_price_;       // by step + largest_change
  Memory now_;
  std::vector<Memory> page_starts_;  // [page]: memory before its first frame
  std::size_t page_ = 0;             // that `back_` describes
  // [frame of the page][period]: 0 from idling, else 1 + period and interval
  std::vector<std::uint16_t> back_;
  std::vector<float> idle_;             // [frame]: idling just before it
  std::vector<std::size_t> idle_from_;  // the beat after which idling began
  std::vector<float> best_score_;       // [frame]: best over periods
  std::vector<std::uint8_t> best_period_;
};

}  // namespace

PulsePath find_pulse(std::span<const float> beat, const PulseOptions& options) {
  LOWSTRIDE_EXPECTS(options.shortest_period_frames >= 4.0);
  LOWSTRIDE_EXPECTS(options.longest_period_frames > options.shortest_period_frames * 1.05);
  if (beat.empty()) return {};
  return PulseSearch(beat, options).run();
}

}  // namespace lowstride::dsp
