#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {
namespace {

/// Two beats are never this close: a third of a beat at 400 a minute.
constexpr double closest_beats_seconds = 0.05;
/// The number of a beat whose place in the bar nobody has said yet.
constexpr int not_counted = 0;

std::int64_t closest_beats(const Take& take) {
  return std::llround(closest_beats_seconds * static_cast<double>(take.time_base_hz));
}

tl::unexpected<Error> no_such_beat() {
  return fail(ErrorCode::not_found, "There is no such beat in the take any more; choose another.");
}

std::optional<std::size_t> first_pinned(const std::vector<Beat>& beats) {
  const auto found =
      std::find_if(beats.begin(), beats.end(), [](const Beat& beat) { return beat.is_pinned_one; });
  if (found == beats.end()) return std::nullopt;
  return static_cast<std::size_t>(found - beats.begin());
}

std::optional<std::size_t> nearest(const std::vector<Beat>& beats, std::int64_t time_samples,
                                   bool downbeats_only) {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    if (downbeats_only && beats[i].beat != 1) continue;
    if (!best || std::abs(beats[i].time_samples - time_samples) <
                     std::abs(beats[*best].time_samples - time_samples)) {
      best = i;
    }
  }
  return best;
}

/// Where bar 1 begins, or else the first downbeat there is.
std::optional<std::int64_t> bar_one_time(const std::vector<Beat>& beats) {
  std::optional<std::int64_t> time;
  for (const Beat& beat : beats) {
    if (beat.beat == 1 && (beat.bar == 1 || !time)) time = beat.time_samples;
    if (beat.beat == 1 && beat.bar >= 1) break;
  }
  return time;
}

void shift_bars(std::vector<Beat>& beats, int by) {
  for (Beat& beat : beats) beat.bar += by;
}

void count_from(std::vector<Beat>& beats, std::size_t index, int beats_per_bar) {
  count_backward(beats, index, beats_per_bar);
  count_forward(beats, index, beats_per_bar);
}

/// Bar 1 is the downbeat nearest to `time_samples`.
void begin_bar_one_near(std::vector<Beat>& beats, std::optional<std::int64_t> time_samples) {
  if (!time_samples) return;
  if (const auto one = nearest(beats, *time_samples, true)) shift_bars(beats, 1 - beats[*one].bar);
}

Beat confirmed_beat(Take& take, std::int64_t time_samples) {
  Beat beat;
  beat.id = new_id<BeatId>(take);
  beat.time_samples = time_samples;
  beat.beat = not_counted;
  confirm(beat);
  return beat;
}

}  // namespace

void count_forward(std::vector<Beat>& beats, std::size_t first, int beats_per_bar) {
  bool is_met = false;
  for (std::size_t i = first + 1; i < beats.size(); ++i) {
    count_on(beats[i - 1], beats[i], beats_per_bar, is_met);
  }
}

void count_backward(std::vector<Beat>& beats, std::size_t last, int beats_per_bar, bool is_met) {
  for (std::size_t i = last; i > 0; --i) {
    const Beat& after = beats[i];
    Beat& beat = beats[i - 1];
    const bool ends_bar = after.beat == 1;
    const bool is_possible = ends_bar ? beat.beat > 0 : beat.beat == after.beat - 1;
    if (!is_met || !is_possible) {
      const int counted = ends_bar ? beats_per_bar : after.beat - 1;
      is_met = beat.beat == counted;
      beat.beat = counted;
    }
    beat.bar = after.bar - (ends_bar ? 1 : 0);
  }
}

void count_on(const Beat& before, Beat& beat, int beats_per_bar, bool& is_met) {
  const bool is_possible = beat.beat == 1 || beat.beat == before.beat + 1;
  if (!is_met || !is_possible) {
    const bool begins_bar = beat.is_pinned_one || before.beat >= beats_per_bar;
    const int counted = begins_bar ? 1 : before.beat + 1;
    is_met = beat.beat == counted;
    beat.beat = counted;
  }
  beat.bar = before.bar + (beat.beat == 1 ? 1 : 0);
}

Result<void> change(Take& take, const AddBeat& edit) {
  auto& beats = take.beats;
  if (edit.time_samples < 0 || edit.time_samples > take.length_samples) {
    return fail(ErrorCode::invalid_argument, "The new beat lies outside the take.");
  }
  const auto near = nearest(beats, edit.time_samples, false);
  if (near && std::abs(beats[*near].time_samples - edit.time_samples) < closest_beats(take)) {
    return fail(ErrorCode::conflict, fmt::format("There is a beat at {} already; move that one.",
                                                 place_text(take, beats[*near].time_samples)));
  }
  const auto after = std::find_if(beats.begin(), beats.end(), [&](const Beat& beat) {
    return beat.time_samples > edit.time_samples;
  });
  const auto index = static_cast<std::size_t>(after - beats.begin());
  beats.insert(after, confirmed_beat(take, edit.time_samples));
  if (index > 0) {
    count_forward(beats, index - 1, take.beats_per_bar);
  } else if (beats.size() > 1) {
    count_backward(beats, 1, take.beats_per_bar);
  } else {
    beats[0].beat = 1;
  }
  return {};
}

Result<void> change(Take& take, const MoveBeat& edit) {
  const auto index = index_of(take.beats, edit.id);
  if (!index) return no_such_beat();
  const std::int64_t room = closest_beats(take);
  const bool is_behind_last = *index == 0
                                  ? edit.time_samples >= 0
                                  : edit.time_samples - take.beats[*index - 1].time_samples >= room;
  const bool is_before_next = *index + 1 == take.beats.size()
                                  ? edit.time_samples <= take.length_samples
                                  : take.beats[*index + 1].time_samples - edit.time_samples >= room;
  if (!is_behind_last || !is_before_next) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A beat cannot be moved past its neighbours; {} is too far.",
                            place_text(take, edit.time_samples)));
  }
  take.beats[*index].time_samples = edit.time_samples;
  confirm(take.beats[*index]);
  return {};
}

Result<void> change(Take& take, const RemoveBeat& edit) {
  auto& beats = take.beats;
  const auto index = index_of(beats, edit.id);
  if (!index) return no_such_beat();
  beats.erase(beats.begin() + static_cast<std::ptrdiff_t>(*index));
  if (*index < beats.size()) confirm(beats[*index]);
  if (*index > 0) {
    confirm(beats[*index - 1]);
    count_forward(beats, *index - 1, take.beats_per_bar);
  }
  return {};
}

Result<void> change(Take& take, const ReplaceBeats& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  const std::int64_t room = closest_beats(take);
  const auto is_inside = [&](std::int64_t time) {
    return time >= edit.begin_samples && time < edit.end_samples;
  };
  for (std::size_t i = 0; i < edit.times_samples.size(); ++i) {
    if (!is_inside(edit.times_samples[i]) ||
        (i > 0 && edit.times_samples[i] - edit.times_samples[i - 1] < room)) {
      return fail(ErrorCode::invalid_argument,
                  "The new beats are not in order of time, too close, or outside their stretch.");
    }
  }
  auto& beats = take.beats;
  const auto bar_one = bar_one_time(beats);
  std::vector<std::int64_t> pinned;
  std::vector<Beat> left;
  for (const Beat& beat : beats) {
    if (!is_inside(beat.time_samples)) {
      left.push_back(beat);
    } else if (beat.is_pinned_one) {
      pinned.push_back(beat.time_samples);
    }
  }
  const auto is_before = [&](const Beat& beat) { return beat.time_samples < edit.begin_samples; };
  const auto before_count =
      static_cast<std::size_t>(std::count_if(left.begin(), left.end(), is_before));
  std::vector<Beat> added;
  for (const std::int64_t time : edit.times_samples) added.push_back(confirmed_beat(take, time));
  // "This is one" was said of a moment, and holds for the beat that is nearest to it now.
  for (const std::int64_t time : pinned) {
    if (const auto one = nearest(added, time, false)) {
      added[*one].is_pinned_one = true;
      added[*one].beat = 1;
    }
  }
  const std::size_t added_count = added.size();
  left.insert(left.begin() + static_cast<std::ptrdiff_t>(before_count), added.begin(), added.end());
  beats = std::move(left);
  if (beats.empty()) return {};
  if (before_count > 0) {
    count_forward(beats, before_count - 1, take.beats_per_bar);
  } else if (const auto one = first_pinned(beats)) {
    count_from(beats, *one, take.beats_per_bar);
    begin_bar_one_near(beats, bar_one);
  } else if (added_count < beats.size()) {
    count_from(beats, added_count, take.beats_per_bar);
  } else {
    const std::size_t start = bar_one ? nearest(beats, *bar_one, false).value_or(0) : 0;
    beats[start].bar = 1;
    beats[start].beat = 1;
    count_from(beats, start, take.beats_per_bar);
  }
  return {};
}

Result<void> change(Take& take, const BeatOne& edit) {
  auto& beats = take.beats;
  const auto index = index_of(beats, edit.id);
  if (!index) return no_such_beat();
  const auto bar_one = bar_one_time(beats);
  const auto pinned = first_pinned(beats);
  Beat& one = beats[*index];
  confirm(one);
  one.is_pinned_one = true;
  // Bars that began here before are right as they are, irregular ones among them.
  if (one.beat != 1) {
    one.beat = 1;
    if (pinned && *pinned < *index) {
      one.bar = beats[*index - 1].bar + 1;
      count_forward(beats, *index, take.beats_per_bar);
    } else {
      count_from(beats, *index, take.beats_per_bar);
      begin_bar_one_near(beats, bar_one);
    }
  }
  if (edit.bar) {
    if (std::abs(*edit.bar) > 100'000) {
      return fail(ErrorCode::invalid_argument, "That bar number makes no sense.");
    }
    shift_bars(beats, *edit.bar - one.bar);
  }
  return {};
}

Result<void> change(Take& take, const SetMeter& edit) {
  if (edit.beats_per_bar < least_beats_per_bar || edit.beats_per_bar > most_beats_per_bar) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A bar has {} to {} beats.", least_beats_per_bar, most_beats_per_bar));
  }
  const bool is_new = take.beats_per_bar != edit.beats_per_bar;
  take.beats_per_bar = edit.beats_per_bar;
  take.meter_state = State::confirmed;
  auto& beats = take.beats;
  if (!is_new || beats.empty()) return {};
  const auto bar_one = bar_one_time(beats);
  std::size_t anchor = 0;
  if (const auto pinned = first_pinned(beats)) {
    anchor = *pinned;
  } else if (bar_one) {
    anchor = nearest(beats, *bar_one, true).value_or(0);
  }
  const int number = std::min(beats[anchor].beat, edit.beats_per_bar);
  for (Beat& beat : beats) beat.beat = not_counted;
  beats[anchor].beat = number;
  count_from(beats, anchor, take.beats_per_bar);
  begin_bar_one_near(beats, bar_one);
  return {};
}

}  // namespace lowstride::take::detail
