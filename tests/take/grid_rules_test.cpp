#include <string>

#include <gtest/gtest.h>

#include "src/take/edit.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;
using testing_help::rate;

constexpr std::int64_t beat_time(int i) { return rate / 2 + i * beat_samples; }

/// "1:1 1:2 …" of `count` beats from `first` on.
std::string numbers(const Take& take, std::size_t first, std::size_t count) {
  std::string text;
  for (std::size_t i = first; i < first + count && i < take.beats.size(); ++i) {
    if (!text.empty()) text += ' ';
    text += std::to_string(take.beats[i].bar) + ':' + std::to_string(take.beats[i].beat);
  }
  return text;
}

void done(Take& take, const Edit& edit) {
  const auto undo = take::apply(take, edit);
  ASSERT_TRUE(undo) << undo.error().message;
}

TEST(GridRules, this_is_one_renumbers_in_both_directions) {
  Take take = example_take();
  done(take, BeatOne{.id = take.beats[2].id});
  // The downbeat nearest to where bar 1 was is that beat: what lies before is a pick-up, bar 0.
  EXPECT_EQ(numbers(take, 0, 8), "0:3 0:4 1:1 1:2 1:3 1:4 2:1 2:2");
  EXPECT_EQ(take.beats[2].state, State::confirmed);
  EXPECT_EQ(take.beats[3].state, State::proposed);
}

TEST(GridRules, a_second_one_leaves_the_bars_before_it_and_may_follow_a_short_bar) {
  Take take = example_take();
  done(take, BeatOne{.id = take.beats[0].id});
  done(take, BeatOne{.id = take.beats[6].id});
  EXPECT_EQ(numbers(take, 0, 12), "1:1 1:2 1:3 1:4 2:1 2:2 3:1 3:2 3:3 3:4 4:1 4:2");
  // A one in between counts on to the pinned one and not beyond it.
  done(take, BeatOne{.id = take.beats[3].id});
  EXPECT_EQ(numbers(take, 0, 8), "1:1 1:2 1:3 2:1 2:2 2:3 3:1 3:2");
}

TEST(GridRules, a_one_with_a_bar_number_shifts_all_bars) {
  Take take = example_take();
  done(take, BeatOne{.id = take.beats[4].id, .bar = 1});
  EXPECT_EQ(numbers(take, 0, 6), "0:1 0:2 0:3 0:4 1:1 1:2");
}

TEST(GridRules, a_removed_beat_shifts_the_count_and_is_not_proposed_again) {
  Take take = example_take();
  done(take, RemoveBeat{take.beats[1].id});
  EXPECT_EQ(take.beats.size(), 31U);
  EXPECT_EQ(numbers(take, 0, 5), "1:1 1:2 1:3 1:4 2:1");
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  analysis.beats = example_take().beats;
  done(take, analysis);
  EXPECT_EQ(take.beats.size(), 31U);
  EXPECT_EQ(take.beats[1].time_samples, beat_time(2));
  EXPECT_EQ(numbers(take, 0, 5), "1:1 1:2 1:3 1:4 2:1");
}

TEST(GridRules, an_added_beat_pushes_the_count_on) {
  Take take = example_take();
  done(take, AddBeat{beat_time(1) + 12000});
  EXPECT_EQ(numbers(take, 0, 6), "1:1 1:2 1:3 1:4 2:1 2:2");
  const auto refused = take::apply(take, AddBeat{beat_time(5) + 100});
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::conflict);
}

TEST(GridRules, a_beat_does_not_pass_its_neighbours) {
  Take take = example_take();
  done(take, MoveBeat{take.beats[4].id, beat_time(4) + 3000});
  EXPECT_EQ(take.beats[4].time_samples, beat_time(4) + 3000);
  EXPECT_EQ(take.beats[4].state, State::confirmed);
  EXPECT_FALSE(take::apply(take, MoveBeat{take.beats[4].id, beat_time(5)}));
  EXPECT_FALSE(take::apply(take, MoveBeat{take.beats[4].id, beat_time(2)}));
}

// Half as many beats over the whole take: each bar is now two of the old ones.
TEST(GridRules, halving_the_beats_keeps_bar_one_where_it_was) {
  Take take = example_take();
  ReplaceBeats half{.begin_samples = 0, .end_samples = take.length_samples};
  for (int i = 0; i < 32; i += 2) half.times_samples.push_back(beat_time(i));
  done(take, half);
  EXPECT_EQ(take.beats.size(), 16U);
  EXPECT_EQ(numbers(take, 0, 5), "1:1 1:2 1:3 1:4 2:1");
}

/// The example with a bar of five: beat 8 is one too many, and all bars after it begin a beat
/// later.
Take take_with_a_bar_of_five() {
  Take take = example_take();
  for (std::size_t i = 8; i < take.beats.size(); ++i) {
    take.beats[i].beat = i == 8 ? 5 : 1 + static_cast<int>((i - 9) % 4);
    take.beats[i].bar = i == 8 ? 2 : 3 + static_cast<int>((i - 9) / 4);
  }
  EXPECT_EQ(numbers(take, 3, 8), "1:4 2:1 2:2 2:3 2:4 2:5 3:1 3:2");
  return take;
}

TEST(GridRules, bars_that_were_right_behind_an_irregular_one_stay_right) {
  Take mended = take_with_a_bar_of_five();
  done(mended, RemoveBeat{mended.beats[6].id});
  EXPECT_EQ(numbers(mended, 3, 7), "1:4 2:1 2:2 2:3 2:4 3:1 3:2");
  // A wrong count is put right up to where it was right already.
  Take wrong = take_with_a_bar_of_five();
  done(wrong, BeatOne{.id = wrong.beats[1].id});
  EXPECT_EQ(numbers(wrong, 0, 12), "0:4 1:1 1:2 1:3 1:4 2:1 2:2 2:3 2:4 3:1 3:2 3:3");
  // And the other way: said behind the irregular bar, it holds back to it.
  Take later = take_with_a_bar_of_five();
  done(later, BeatOne{.id = later.beats[12].id});
  EXPECT_EQ(numbers(later, 0, 13), "1:1 1:2 1:3 1:4 2:1 2:2 2:3 2:4 3:1 3:2 3:3 3:4 4:1");
  // What begins a bar already is only pinned.
  Take pinned = take_with_a_bar_of_five();
  done(pinned, BeatOne{.id = pinned.beats[9].id});
  EXPECT_EQ(numbers(pinned, 0, 11), numbers(take_with_a_bar_of_five(), 0, 11));
}

TEST(GridRules, an_irregular_bar_of_the_analysis_stays_beside_confirmed_beats) {
  Take take = take_with_a_bar_of_five();
  done(take, Confirm{.beats = {take.beats[0].id, take.beats[8].id, take.beats[30].id}});
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  analysis.beats = take.beats;
  for (Beat& beat : analysis.beats) beat.bar += 7;  // it counts its bars from elsewhere
  const Take before = take;
  done(take, analysis);
  EXPECT_EQ(numbers(take, 0, 32), numbers(before, 0, 32));
  // Read again in a stretch, the bars behind it stay as well.
  analysis.begin_samples = beat_time(3) - 100;
  analysis.end_samples = beat_time(6) - 100;
  done(take, analysis);
  EXPECT_EQ(numbers(take, 0, 32), numbers(before, 0, 32));
}

TEST(GridRules, tapped_beats_count_on_from_those_before) {
  Take take = example_take();
  done(take, BeatOne{.id = take.beats[8].id});
  ReplaceBeats taps{.begin_samples = beat_time(6) - 100, .end_samples = beat_time(10) - 100};
  taps.times_samples = {beat_time(6) + 500, beat_time(7) + 300, beat_time(8) + 200,
                        beat_time(9) - 50};
  done(take, taps);
  EXPECT_EQ(take.beats.size(), 32U);
  EXPECT_EQ(numbers(take, 5, 5), "2:2 2:3 2:4 3:1 3:2");
  EXPECT_TRUE(take.beats[8].is_pinned_one) << "the one was said of that moment";
}

TEST(GridRules, another_meter_counts_from_bar_one) {
  Take take = example_take();
  done(take, SetMeter{3});
  EXPECT_EQ(numbers(take, 0, 7), "1:1 1:2 1:3 2:1 2:2 2:3 3:1");
  EXPECT_EQ(take.meter_state, State::confirmed);
  EXPECT_FALSE(take::apply(take, SetMeter{1}));
}

TEST(GridRules, analysis_counts_from_confirmed_beats_and_keeps_their_numbers) {
  Take take = example_take();
  done(take, BeatOne{.id = take.beats[2].id});
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  analysis.beats = example_take().beats;  // says again that beat 0 is the first
  for (Beat& beat : analysis.beats) beat.time_samples += 600;
  done(take, analysis);
  ASSERT_EQ(take.beats.size(), 32U);
  EXPECT_EQ(take.beats[2].time_samples, beat_time(2)) << "the confirmed beat stands";
  EXPECT_EQ(take.beats[3].time_samples, beat_time(3) + 600);
  EXPECT_EQ(numbers(take, 0, 7), "0:3 0:4 1:1 1:2 1:3 1:4 2:1");
}

}  // namespace
}  // namespace lowstride::take
