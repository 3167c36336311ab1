#pragma once

#include <cstddef>
#include <vector>

#include "src/audio/practice.hpp"

namespace lowstride::audio {

/// Whether a pattern clicks a beat. `is_in_three`: its bar has three beats, where 2 and 3 answer
/// the bass on 1 instead of "2 and 4".
[[nodiscard]] bool is_clicked(const PracticeBeat& beat, ClickPattern pattern, bool is_in_three);

/// Beats in the bar of a beat, from the highest number in its run.
[[nodiscard]] int beats_in_bar(const std::vector<PracticeBeat>& beats, std::size_t index);

/// A beat of a count-in, in samples of the recording, before the place that it leads to.
struct CountInBeat {
  double time_samples = 0.0;
  bool is_accent = false;
};

/// The beats that lead to `begin`, earliest first: `bar_count` bars with the tempo and the feel of
/// the first whole bar from there on, and the beats of the bar that `begin` lies in before it.
/// Requires two beats or more, in order.
[[nodiscard]] std::vector<CountInBeat> count_in_before(const std::vector<PracticeBeat>& beats,
                                                       std::int64_t begin, int bar_count);

}  // namespace lowstride::audio
