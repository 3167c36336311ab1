#include "src/take/commands.hpp"

#include <string>

#include <gtest/gtest.h>

#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;
using testing_help::rate;

Take edited(const std::vector<EditOption>& options) {
  Take take = example_take();
  const auto group = edit_from_options(take, options);
  EXPECT_TRUE(group) << group.error().message;
  if (group) {
    const auto undo = take::apply(take, *group);
    EXPECT_TRUE(undo) << undo.error().message;
  }
  return take;
}

// In the example note i lies on beat i, bar 1 beat 1 at half a second. MIDI numbers of pitch names
// with C4 = 60: common practice; Eb2 = 39, E1 = 28 (the bass's lowest string).
TEST(Commands, set_the_pitch_of_the_note_at_a_place) {
  const Take take = edited({{"set-note", "b2:3=Eb2"}, {"set-note", "0.55=28"}});
  EXPECT_EQ(take.notes[6].midi, 39);
  EXPECT_EQ(take.notes[6].state, State::confirmed);
  EXPECT_EQ(take.notes[0].midi, 28);
  EXPECT_EQ(take.notes[1].state, State::proposed);
}

// What a summary names as doubtful is confirmed by that name.
TEST(Commands, confirm_one_place) {
  const Take note = edited({{"confirm", "b1:3"}});
  for (std::size_t i = 0; i < note.notes.size(); ++i) {
    EXPECT_EQ(note.notes[i].state, i == 2 ? State::confirmed : State::proposed) << i;
  }
  EXPECT_EQ(note.chords[0].state, State::proposed);
  const Take both = edited({{"confirm", "b2"}});
  EXPECT_EQ(both.notes[4].state, State::confirmed);
  EXPECT_EQ(both.chords[1].state, State::confirmed);
  EXPECT_EQ(both.chords[0].state, State::proposed);
  EXPECT_EQ(both.chords[2].state, State::proposed);
  Take bare = example_take();
  bare.notes.clear();
  const auto none = edit_from_options(bare, {{"confirm", "b1:3"}});
  ASSERT_FALSE(none);
  EXPECT_NE(none.error().message.find("begins at b1:3"), std::string::npos) << none.error().message;
}

TEST(Commands, confirm_all_or_some_bars) {
  const Take all = edited({{"confirm", "all"}});
  for (const Note& note : all.notes) EXPECT_EQ(note.state, State::confirmed);
  for (const Beat& beat : all.beats) EXPECT_EQ(beat.state, State::confirmed);
  for (const ChordSpan& span : all.chords) EXPECT_EQ(span.state, State::confirmed);
  EXPECT_EQ(all.tuning_state, State::confirmed);
  EXPECT_EQ(all.key->state, State::confirmed);
  const Take some = edited({{"confirm", "b2..b4"}});
  for (int i = 0; i < 32; ++i) {
    const State expected = i >= 4 && i < 12 ? State::confirmed : State::proposed;
    EXPECT_EQ(some.notes[static_cast<std::size_t>(i)].state, expected) << i;
  }
  EXPECT_EQ(some.chords[1].state, State::confirmed);
  EXPECT_EQ(some.chords[3].state, State::proposed);
}

TEST(Commands, a_stretch_in_bars_takes_in_notes_ahead_of_the_beat) {
  Take take = example_take();
  take.notes[4].onset_samples -= 1500;  // 31 ms early
  const auto group = edit_from_options(take, {{"remove", "b2..b3"}});
  ASSERT_TRUE(group) << group.error().message;
  ASSERT_TRUE(take::apply(take, *group));
  EXPECT_EQ(take.notes.size(), 28U);
  EXPECT_EQ(take.gaps.size(), 4U);
}

TEST(Commands, each_option_sees_what_those_before_it_did) {
  const Take take = edited({{"remove", "b1:1"},
                            {"add-note", "b1..b1:1.5=F1"},
                            {"dead", "b1"},
                            {"passage", "intro=b1..b3"},
                            {"passage", "intro=b1..b2"}});
  EXPECT_EQ(take.notes[0].midi, 29);
  EXPECT_TRUE(take.notes[0].is_dead);
  ASSERT_EQ(take.passages.size(), 1U);
  EXPECT_EQ(take.passages[0].end_samples, rate / 2 + 4 * beat_samples);
}

TEST(Commands, a_chord_lasts_until_the_next_change) {
  const Take take = edited({{"set-chord", "b2:3=Gm7"}, {"set-chord", "0:08.52=C13"}});
  EXPECT_EQ(take.chords[2].begin_samples, rate / 2 + 6 * beat_samples);
  EXPECT_EQ(take.chords[2].end_samples, rate / 2 + 8 * beat_samples);
  EXPECT_EQ(take.chords[2].chord, (dsp::ChordReading{7, dsp::ChordQuality::minor_seventh, 7}));
  EXPECT_EQ(take.chords[2].written, "");
  // 8.52 s is 20 ms after bar 5: the chord of that bar is renamed as a whole.
  EXPECT_EQ(take.chords[5].begin_samples, rate / 2 + 16 * beat_samples);
  EXPECT_EQ(take.chords[5].written, "C13");
  EXPECT_EQ(take.chords[5].chord.quality, dsp::ChordQuality::dominant_seventh);
  EXPECT_EQ(take.chords.size(), 9U);
}

TEST(Commands, an_anticipated_chord_stays_where_it_was_set) {
  const Take take = edited({{"set-chord", "b2:4.5=Gm7"}});
  EXPECT_EQ(take.chords[2].begin_samples, rate / 2 + 7 * beat_samples + beat_samples / 2);
}

TEST(Commands, the_rest_of_the_contract) {
  const Take take = edited({{"beat-one", "b1:2"},
                            {"meter", "3/4"},
                            {"key", "Gm"},
                            {"tuning", "442"},
                            {"title", "Low Tide"},
                            {"composer", "N. N."},
                            {"doubt", "b1"}});
  EXPECT_TRUE(take.beats[1].is_pinned_one);
  EXPECT_EQ(take.beats_per_bar, 3);
  EXPECT_EQ(take.key, (Key{7, true, State::confirmed, 1.0}));
  EXPECT_EQ(take.a4_hz, 442.0);
  EXPECT_EQ(take.title, "Low Tide");
  EXPECT_EQ(take.composer, "N. N.");
  const Take counted = edited({{"beat-one", "b2=1"}});
  EXPECT_EQ(counted.beats[4].bar, 1);
}

TEST(Commands, what_makes_no_sense_is_named_and_nothing_is_done) {
  const Take take = example_take();
  for (const EditOption& option : std::vector<EditOption>{{"set-note", "b2:3"},
                                                          {"set-note", "b2:3=H9"},
                                                          {"set-note", "b99=E1"},
                                                          {"set-note", "19.5=E1"},
                                                          {"set-note", "=E1"},
                                                          {"add-note", "b2=E1"},
                                                          {"add-note", "b3..b2=E1"},
                                                          {"confirm", "some"},
                                                          {"confirm", "19.5"},
                                                          {"set-chord", "b2=Hmaj"},
                                                          {"beat-one", "b2=x"},
                                                          {"meter", "6/8"},
                                                          {"meter", "99"},
                                                          {"key", "Q"},
                                                          {"tuning", "high"},
                                                          {"tuning", "44"},
                                                          {"passage", "intro"},
                                                          {"passage", "=b1..b2"},
                                                          {"remove-passage", "coda"},
                                                          {"remove", "19.2..19.5"},
                                                          {"title", std::string("a\nb")}}) {
    SCOPED_TRACE(option.name + " " + option.value);
    const auto outcome = edit_from_options(take, {{"title", "fine"}, {option.name, option.value}});
    ASSERT_FALSE(outcome);
    EXPECT_EQ(outcome.error().message.rfind("--" + option.name, 0), 0U) << outcome.error().message;
  }
  EXPECT_FALSE(edit_from_options(take, {{"explode", "now"}}));
}

TEST(Commands, help_names_every_option_that_works) {
  for (const EditOptionHelp& help : edit_option_help()) {
    const auto outcome = edit_from_options(example_take(), {{std::string(help.name), "?"}});
    if (!outcome) {
      EXPECT_EQ(outcome.error().message.find("There is no edit"), std::string::npos) << help.name;
    }
  }
}

}  // namespace
}  // namespace lowstride::take
