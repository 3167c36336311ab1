#include <algorithm>
#include <cmath>
#include <cstddef>

#include <fmt/format.h>

#include "src/audio/click_pattern.hpp"
#include "src/audio/practice.hpp"

namespace lowstride::audio {
namespace {

constexpr int largest_count_in_bars = 8;
constexpr int largest_repeat_count = 100;
constexpr std::size_t largest_repetition_count = 1000;

bool is_speed(double ratio) {
  return ratio >= lowest_speed_ratio && ratio <= highest_speed_ratio;  // false for NaN
}

tl::unexpected<Error> bad_speed() {
  return fail(ErrorCode::invalid_argument,
              fmt::format("The speed must lie between {:.0f} % and {:.0f} %.",
                          lowest_speed_ratio * 100.0, highest_speed_ratio * 100.0));
}

/// Distances in samples from each beat of a bar to the next: its tempo and feel.
using BarFeel = std::vector<double>;

/// The feel of the first whole bar from beat `first` on, else of any whole bar, else even beats as
/// long as the middle one of all distances, in bars of as many as were counted.
BarFeel feel_from(const std::vector<PracticeBeat>& beats, std::size_t first) {
  const auto bar_at = [&](std::size_t i) {
    BarFeel feel;
    while (i + 1 < beats.size()) {
      feel.push_back(static_cast<double>(beats[i + 1].time_samples - beats[i].time_samples));
      ++i;
      if (beats[i].beat == 1) return feel;
    }
    return BarFeel();
  };
  for (const std::size_t begin : {first, std::size_t{0}}) {
    for (std::size_t i = begin; i < beats.size(); ++i) {
      if (beats[i].beat != 1) continue;
      if (BarFeel feel = bar_at(i); !feel.empty()) return feel;
    }
  }
  BarFeel distances;
  int beats_per_bar = 1;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    beats_per_bar = std::max(beats_per_bar, beats[i].beat);
    if (i > 0) {
      distances.push_back(static_cast<double>(beats[i].time_samples - beats[i - 1].time_samples));
    }
  }
  std::nth_element(distances.begin(),
                   distances.begin() + static_cast<std::ptrdiff_t>(distances.size() / 2),
                   distances.end());
  return BarFeel(static_cast<std::size_t>(beats_per_bar), distances[distances.size() / 2]);
}

/// Beats that lead to the first beat of the passage, earliest first.
std::vector<CountInBeat> count_in_beats(const std::vector<PracticeBeat>& beats, std::size_t first,
                                        int bar_count) {
  const BarFeel feel = feel_from(beats, first);
  const auto beats_per_bar = static_cast<int>(feel.size());
  // A beat number over the bar's own (a change of meter) counts as its last beat.
  int beat = std::clamp(beats[first].beat, 1, beats_per_bar);
  const int count = bar_count * beats_per_bar + (beat - 1);
  double time = static_cast<double>(beats[first].time_samples);
  std::vector<CountInBeat> lead;
  for (int i = 0; i < count; ++i) {
    beat = beat == 1 ? beats_per_bar : beat - 1;
    time -= feel[static_cast<std::size_t>(beat - 1)];
    lead.push_back({time, beat == 1});
  }
  std::reverse(lead.begin(), lead.end());
  return lead;
}

Result<void> check(const std::vector<PracticeBeat>& beats, std::int64_t begin, std::int64_t end,
                   const PracticeOptions& options) {
  if (begin < 0 || end <= begin) {
    return fail(ErrorCode::invalid_argument,
                "The passage to practise is empty; its end must come after its start.");
  }
  if (options.speed_ratios.empty() || options.speed_ratios.size() > largest_repetition_count) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A passage can be repeated 1 to {} times.", largest_repetition_count));
  }
  if (!std::all_of(options.speed_ratios.begin(), options.speed_ratios.end(), is_speed)) {
    return bad_speed();
  }
  if (options.count_in_bars < 0 || options.count_in_bars > largest_count_in_bars) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The count-in can have 0 to {} bars.", largest_count_in_bars));
  }
  if (!(options.click_gain_db <= 0.0)) {
    return fail(ErrorCode::invalid_argument, "The click can be at most at full scale, 0 dB.");
  }
  const bool needs_beats = options.count_in_bars > 0 || options.click != ClickPattern::none;
  if (needs_beats && beats.size() < 2) {
    return fail(ErrorCode::invalid_argument,
                "Clicks and a count-in need the beats of the recording; lift it first.");
  }
  const auto is_out_of_order = [](const PracticeBeat& a, const PracticeBeat& b) {
    return a.time_samples >= b.time_samples;
  };
  if (std::adjacent_find(beats.begin(), beats.end(), is_out_of_order) != beats.end()) {
    return fail(ErrorCode::invalid_argument,
                "The beats of the recording are out of order; lift it again.");
  }
  return {};
}

}  // namespace

bool is_clicked(const PracticeBeat& beat, ClickPattern pattern, bool is_in_three) {
  switch (pattern) {
    case ClickPattern::none:
      return false;
    case ClickPattern::all:
      return true;
    case ClickPattern::one:
      return beat.beat == 1;
    case ClickPattern::two_and_four:
      // In bars of three the even beats would be one of three.
      return is_in_three ? beat.beat != 1 : beat.beat == 2 || beat.beat == 4;
  }
  return false;
}

int beats_in_bar(const std::vector<PracticeBeat>& beats, std::size_t index) {
  int most = 1;
  for (std::size_t i = index; i < beats.size() && beats[i].bar == beats[index].bar; ++i) {
    most = std::max(most, beats[i].beat);
  }
  for (std::size_t i = index + 1; i-- > 0 && beats[i].bar == beats[index].bar;) {
    most = std::max(most, beats[i].beat);
  }
  return most;
}

std::vector<CountInBeat> count_in_before(const std::vector<PracticeBeat>& beats, std::int64_t begin,
                                         int bar_count) {
  if (bar_count == 0) return {};
  std::size_t first = 0;
  while (first + 1 < beats.size() && beats[first].time_samples < begin) ++first;
  std::vector<CountInBeat> lead = count_in_beats(beats, first, bar_count);
  // A passage that begins before its first beat by more than a beat holds these clicks itself.
  std::erase_if(lead, [&](const CountInBeat& beat) {
    return beat.time_samples >= static_cast<double>(begin);
  });
  return lead;
}

Result<std::vector<double>> ramp_speeds(double from_ratio, double to_ratio, double step_ratio,
                                        int repeats_each) {
  if (!is_speed(from_ratio) || !is_speed(to_ratio)) return bad_speed();
  if (!(step_ratio > 0.0) || !std::isfinite(step_ratio)) {
    return fail(ErrorCode::invalid_argument, "The step of a ramp must be more than 0 %.");
  }
  if (repeats_each < 1 || repeats_each > largest_repeat_count) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A passage can be repeated 1 to {} times.", largest_repeat_count));
  }
  const double distance = std::abs(to_ratio - from_ratio);
  // A step of 5 % is no binary fraction: 50 to 100 % must not become eleven steps and a crumb.
  const double steps = std::ceil(distance / step_ratio - 1e-6);
  if (!((steps + 1.0) * repeats_each <= static_cast<double>(largest_repetition_count))) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("This ramp has more than {} repetitions; choose a larger step.",
                            largest_repetition_count));
  }
  std::vector<double> speeds;
  const double sign = to_ratio < from_ratio ? -1.0 : 1.0;
  for (int i = 0; i <= static_cast<int>(steps); ++i) {
    const bool is_last = i == static_cast<int>(steps);
    const double speed = is_last ? to_ratio : from_ratio + sign * step_ratio * i;
    speeds.insert(speeds.end(), static_cast<std::size_t>(repeats_each), speed);
  }
  return speeds;
}

Result<PracticePlan> plan_practice(const std::vector<PracticeBeat>& beats, std::int64_t begin,
                                   std::int64_t end, const PracticeOptions& options) {
  if (auto valid = check(beats, begin, end, options); !valid) return tl::unexpected(valid.error());
  const std::vector<CountInBeat> lead = count_in_before(beats, begin, options.count_in_bars);

  PracticePlan plan;
  std::int64_t place = 0;
  double last_speed = 0.0;
  for (const double speed : options.speed_ratios) {
    PracticePlan::Repetition repetition;
    repetition.speed_ratio = speed;
    repetition.count_in_sample = place;
    const auto from_begin = [&](double time) {
      return std::llround((time - static_cast<double>(begin)) / speed);
    };
    if (!lead.empty() && speed != last_speed) {
      const std::int64_t lead_length = -from_begin(lead.front().time_samples);
      for (const CountInBeat& beat : lead) {
        plan.clicks.push_back(
            {place + lead_length + from_begin(beat.time_samples), beat.is_accent});
      }
      place += lead_length;
    }
    last_speed = speed;
    repetition.begin_sample = place;
    for (std::size_t i = 0; i < beats.size(); ++i) {
      if (beats[i].time_samples < begin || beats[i].time_samples >= end) continue;
      if (is_clicked(beats[i], options.click, beats_in_bar(beats, i) == 3)) {
        plan.clicks.push_back(
            {place + from_begin(static_cast<double>(beats[i].time_samples)), beats[i].beat == 1});
      }
    }
    place += std::llround(static_cast<double>(end - begin) / speed);
    repetition.end_sample = place;
    plan.repetitions.push_back(repetition);
  }
  plan.output_sample_count = place;
  return plan;
}

}  // namespace lowstride::audio
