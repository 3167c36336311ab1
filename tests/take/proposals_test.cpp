#include "src/take/proposals.hpp"

#include <utility>

#include <gtest/gtest.h>

#include "src/take/validate.hpp"

namespace lowstride::take {
namespace {

constexpr std::int64_t rate = 44100;

/// Twelve bars at 120 a minute: a note and a beat every half second, a chord every two seconds.
Proposals example_proposals() {
  Proposals proposals;
  for (int i = 0; i < 48; ++i) {
    const double time = 1.0 + 0.5 * i;
    proposals.notes.push_back(
        {time + 0.004, time + 0.45, 36 + i % 5, false, 0.91234567, 0.99, {{48, 0.05}}});
    proposals.grid.beats.push_back({time, 1 + i / 4, 1 + i % 4, 0.8});
    if (i % 4 == 0) {
      const int root = i / 4 % 12;
      proposals.harmony.chords.push_back(
          {time, time + 2.0, {root, dsp::ChordQuality::minor_seventh, root}, 0.7, false, {}});
    }
  }
  proposals.grid.tempo_bpm = 120.0;
  proposals.grid.swing_ratio = 1.6;
  proposals.harmony.key = dsp::DecodedKey{5, true, 0.6};
  proposals.a4_hz = 438.123456;
  proposals.form = "twelve-bar blues";
  proposals.voice = Voice::guitar;
  proposals.analysis_version = "3";
  return proposals;
}

Take fresh_take() { return new_take({"the line.wav", 30 * rate, 1, "abc"}, rate, "The line"); }

void lift(Take& take, const Proposals& proposals) {
  const auto undo = take::apply(take, proposals_edit(take, proposals, 0, take.length_samples));
  ASSERT_TRUE(undo) << undo.error().message;
  ASSERT_TRUE(check_take(take));
}

TEST(Proposals, fill_a_new_take) {
  Take take = fresh_take();
  lift(take, example_proposals());
  ASSERT_EQ(take.notes.size(), 48U);
  EXPECT_EQ(take.notes[0].onset_samples, 44276);  // 1.004 s at 44,100
  EXPECT_EQ(take.notes[0].confidence, 0.9123);
  EXPECT_EQ(take.notes[0].state, State::proposed);
  EXPECT_EQ(take.beats.size(), 48U);
  EXPECT_EQ(take.chords.size(), 12U);
  EXPECT_EQ(take.a4_hz, 438.12);
  EXPECT_EQ(take.key, (Key{5, true, State::proposed, 0.6}));
  EXPECT_EQ(take.voice, Voice::guitar);
  EXPECT_EQ(take.form, "twelve-bar blues");
}

// An edit has some bars read again: a chord that reaches out of them stays one chord.
TEST(Proposals, a_chord_across_the_edge_of_what_is_read_again_stays_whole) {
  Take take = fresh_take();
  lift(take, example_proposals());
  const Take before = take;
  const Proposals again = example_proposals();
  const std::int64_t half_bar = rate;
  for (const auto& [begin, end] :
       {std::pair{take.chords[2].begin_samples + half_bar, take.chords[5].begin_samples + half_bar},
        std::pair{take.chords[3].begin_samples + half_bar / 2,
                  take.chords[3].begin_samples + half_bar}}) {
    ASSERT_TRUE(take::apply(take, proposals_edit(take, again, begin, end)));
    EXPECT_EQ(take.chords, before.chords);
    EXPECT_EQ(take.next_id, before.next_id);
  }
}

TEST(Proposals, the_same_analysis_twice_gives_the_same_take) {
  Take take = fresh_take();
  lift(take, example_proposals());
  const Take once = take;
  lift(take, example_proposals());
  EXPECT_EQ(take, once);
}

TEST(Proposals, lifting_again_keeps_every_decision) {
  Take take = fresh_take();
  lift(take, example_proposals());
  const auto decide = [&](const Edit& edit) {
    const auto undo = take::apply(take, edit);
    ASSERT_TRUE(undo) << undo.error().message;
  };
  decide(ReplaceNote{.id = take.notes[3].id, .midi = 51});
  decide(RemoveNote{take.notes[10].id});
  decide(AddNote{2 * rate + 5000, 2 * rate + 9000, 40, true});
  decide(BeatOne{.id = take.beats[1].id});
  decide(SetChord{5 * rate, 6 * rate, {2, dsp::ChordQuality::major, 6}, ""});
  decide(SetTuning{440.0});
  decide(SetKey{7, false});
  decide(SetMeter{3});
  decide(SetTitle{"My line"});
  decide(SetForm{"my form"});
  decide(AddPassage{"ending", 10 * rate, 12 * rate});
  neck::Neck five;
  five.name = "bass5";
  five.open_midi = {23, 28, 33, 38, 43};
  decide(SetNeck{five, 0});
  const Take decided = take;

  Proposals other = example_proposals();  // everything a little later, and wrong
  for (auto& note : other.notes) {
    note.onset_seconds += 0.01;
    note.midi = 60;
  }
  for (auto& chord : other.harmony.chords) chord.chord = {1, dsp::ChordQuality::augmented, 1};
  other.harmony.key = dsp::DecodedKey{1, false, 0.9};
  other.a4_hz = 450.0;
  other.form = "other";
  lift(take, other);

  const auto confirmed = [](auto entries) {
    std::erase_if(entries, [](const auto& entry) { return entry.state == State::proposed; });
    return entries;
  };
  EXPECT_EQ(confirmed(take.notes), confirmed(decided.notes));
  EXPECT_EQ(confirmed(take.notes).size(), 2U);
  EXPECT_EQ(confirmed(take.beats), confirmed(decided.beats));
  EXPECT_EQ(confirmed(take.chords), confirmed(decided.chords));
  EXPECT_EQ(take.gaps, decided.gaps);
  EXPECT_EQ(take.passages, decided.passages);
  EXPECT_EQ(take.neck, decided.neck);
  EXPECT_EQ(take.a4_hz, 440.0);
  EXPECT_EQ(take.key, decided.key);
  EXPECT_EQ(take.beats_per_bar, 3);
  EXPECT_EQ(take.title, "My line");
  EXPECT_EQ(take.form, "my form");
  // And what was not decided is new.
  EXPECT_EQ(take.notes.back().midi, 60);
  EXPECT_EQ(take.chords.back().chord.quality, dsp::ChordQuality::augmented);
}

TEST(Proposals, a_stretch_of_an_analysed_take_leaves_its_facts) {
  Take take = fresh_take();
  lift(take, example_proposals());
  Proposals other = example_proposals();
  other.a4_hz = 445.0;
  other.harmony.key.reset();
  other.notes.clear();
  ASSERT_TRUE(take::apply(take, proposals_edit(take, other, 5 * rate, 10 * rate)));
  EXPECT_EQ(take.a4_hz, 438.12);
  EXPECT_TRUE(take.key);
  EXPECT_EQ(take.notes.size(), 38U);
  EXPECT_EQ(take.beats.size(), 48U);
}

TEST(Proposals, nothing_found_is_an_empty_line) {
  Take take = fresh_take();
  lift(take, {});
  EXPECT_TRUE(take.notes.empty());
  EXPECT_TRUE(take.beats.empty());
  EXPECT_TRUE(take.chords.empty());
}

TEST(Proposals, decoders_hear_what_was_decided) {
  Take take = fresh_take();
  lift(take, example_proposals());
  ASSERT_TRUE(take::apply(take, Confirm{.notes = {take.notes[1].id}}));
  ASSERT_TRUE(take::apply(take, RemoveNote{take.notes[0].id}));
  ASSERT_TRUE(take::apply(take, BeatOne{.id = take.beats[4].id, .bar = 1}));
  ASSERT_TRUE(take::apply(take, SetMeter{4}));
  ASSERT_TRUE(take::apply(take, SetKey{2, true}));
  ASSERT_TRUE(take::apply(take, Confirm{.chords = {take.chords[2].id}}));
  const auto spans = decided_spans(take);
  ASSERT_EQ(spans.size(), 2U);
  EXPECT_NEAR(spans[0].begin_seconds, 1.004, 1e-4);
  EXPECT_NEAR(spans[1].end_seconds, 1.95, 1e-4);
  dsp::BeatDecoderOptions beats;
  add_confirmed_grid(take, beats);
  EXPECT_EQ(beats.fixed_beats_seconds, std::vector<double>{3.0});
  EXPECT_EQ(beats.first_bar_seconds, 3.0);
  EXPECT_EQ(beats.beats_per_bar, 4);
  dsp::ChordDecoderOptions chords;
  add_confirmed_harmony(take, chords);
  ASSERT_EQ(chords.fixed.size(), 1U);
  EXPECT_EQ(chords.fixed[0].begin_seconds, 5.0);
  EXPECT_EQ(chords.key, (dsp::DecodedKey{2, true, 1.0}));
}

}  // namespace
}  // namespace lowstride::take
