#include <gtest/gtest.h>

#include "src/take/edit.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;
using testing_help::rate;

constexpr std::int64_t bar_time(int bar) { return rate / 2 + (bar - 1) * 4 * beat_samples; }
const dsp::ChordReading c_minor{0, dsp::ChordQuality::minor, 0};

void done(Take& take, const Edit& edit) {
  const auto undo = take::apply(take, edit);
  ASSERT_TRUE(undo) << undo.error().message;
}

TEST(ChordRules, a_chord_on_the_third_beat_cuts_the_bar_in_two) {
  Take take = example_take();
  const std::int64_t third = bar_time(2) + 2 * beat_samples;
  done(take, SetChord{third, bar_time(3), c_minor, ""});
  ASSERT_EQ(take.chords.size(), 9U);
  EXPECT_EQ(take.chords[1].end_samples, third);
  EXPECT_EQ(take.chords[1].state, State::proposed);
  EXPECT_EQ(take.chords[2].chord, c_minor);
  EXPECT_EQ(take.chords[2].state, State::confirmed);
  // What stood there is the first alternative.
  EXPECT_EQ(take.chords[2].alternatives.at(0).chord, take.chords[1].chord);
}

TEST(ChordRules, a_chord_inside_another_lets_it_go_on_behind) {
  Take take = example_take();
  const std::int64_t second = bar_time(2) + beat_samples;
  done(take, SetChord{second, second + beat_samples, c_minor, ""});
  ASSERT_EQ(take.chords.size(), 10U);
  EXPECT_EQ(take.chords[3].chord, take.chords[1].chord);
  EXPECT_EQ(take.chords[3].begin_samples, second + beat_samples);
  EXPECT_NE(take.chords[3].id, take.chords[1].id);
}

TEST(ChordRules, a_change_set_a_moment_beside_one_that_is_there_is_the_same_change) {
  Take take = example_take();
  const ChordId id = take.chords[2].id;
  done(take, SetChord{bar_time(3) + 400, bar_time(4) - 300, c_minor, ""});
  ASSERT_EQ(take.chords.size(), 8U);
  EXPECT_EQ(take.chords[2].begin_samples, bar_time(3));
  EXPECT_EQ(take.chords[2].end_samples, bar_time(4));
  EXPECT_EQ(take.chords[2].id, id);
}

TEST(ChordRules, a_long_chord_replaces_those_that_it_covers) {
  Take take = example_take();
  done(take, SetChord{bar_time(2), bar_time(5), c_minor, ""});
  ASSERT_EQ(take.chords.size(), 6U);
  EXPECT_EQ(take.chords[1].end_samples, bar_time(5));
  EXPECT_EQ(take.chords[2].begin_samples, bar_time(5));
}

TEST(ChordRules, without_a_change_the_chord_before_goes_on) {
  Take take = example_take();
  done(take, RemoveChord{take.chords[3].id});
  ASSERT_EQ(take.chords.size(), 7U);
  EXPECT_EQ(take.chords[2].end_samples, bar_time(5));
  EXPECT_EQ(take.chords[2].state, State::confirmed);
  done(take, RemoveChord{take.chords[0].id});
  EXPECT_EQ(take.chords[0].begin_samples, bar_time(1));
  // The last chord that is left gives way to none.
  while (take.chords.size() > 1) done(take, RemoveChord{take.chords.back().id});
  done(take, RemoveChord{take.chords[0].id});
  ASSERT_EQ(take.chords.size(), 1U);
  EXPECT_FALSE(take.chords[0].chord.root_pc);
}

TEST(ChordRules, a_moved_change_takes_from_one_neighbour_and_gives_to_the_other) {
  Take take = example_take();
  done(take, MoveChord{take.chords[3].id, bar_time(4) - beat_samples});
  EXPECT_EQ(take.chords[2].end_samples, bar_time(4) - beat_samples);
  EXPECT_EQ(take.chords[3].begin_samples, bar_time(4) - beat_samples);
  EXPECT_FALSE(take::apply(take, MoveChord{take.chords[3].id, bar_time(3)}));
  EXPECT_FALSE(take::apply(take, MoveChord{take.chords[3].id, bar_time(5)}));
}

TEST(ChordRules, analysis_fills_what_is_not_confirmed) {
  Take take = example_take();
  done(take, Confirm{.chords = {take.chords[2].id}});
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  ChordSpan all;
  all.begin_samples = bar_time(1);
  all.end_samples = bar_time(9);
  all.chord = c_minor;
  all.confidence = 0.9;
  analysis.chords = {all};
  done(take, analysis);
  ASSERT_EQ(take.chords.size(), 3U);
  EXPECT_EQ(take.chords[0].end_samples, bar_time(3));
  EXPECT_EQ(take.chords[1].state, State::confirmed);
  EXPECT_EQ(take.chords[2].begin_samples, bar_time(4));
  EXPECT_EQ(take.chords[2].chord, c_minor);
}

TEST(ChordRules, analysis_of_a_stretch_keeps_the_chords_around_it) {
  Take take = example_take();
  const Take before = take;
  ReplaceProposals analysis{.begin_samples = bar_time(2) + beat_samples,
                            .end_samples = bar_time(2) + 2 * beat_samples};
  ChordSpan all;
  all.begin_samples = bar_time(1);
  all.end_samples = bar_time(9);
  all.chord = c_minor;
  analysis.chords = {all};
  done(take, analysis);
  ASSERT_EQ(take.chords.size(), 10U);
  EXPECT_EQ(take.chords[1].chord, before.chords[1].chord);
  EXPECT_EQ(take.chords[2].chord, c_minor);
  EXPECT_EQ(take.chords[3].chord, before.chords[1].chord);
  EXPECT_EQ(take.chords[3].end_samples, bar_time(3));
}

}  // namespace
}  // namespace lowstride::take
