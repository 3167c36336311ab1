#include <gtest/gtest.h>

#include "src/take/edit.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;
using testing_help::rate;

// In the example note i begins at 24000 + i * 24000 and ends 2000 samples before the next.
constexpr std::int64_t onset_of(int i) { return rate / 2 + i * beat_samples; }

Edit done(Take& take, const Edit& edit) {
  auto undo = take::apply(take, edit);
  EXPECT_TRUE(undo) << undo.error().message;
  return undo ? *undo : Edit(EditGroup{});
}

ErrorCode refusal(Take& take, const Edit& edit) {
  const Take before = take;
  const auto undo = take::apply(take, edit);
  EXPECT_FALSE(undo);
  EXPECT_EQ(take, before);
  return undo ? ErrorCode::cancelled : undo.error().code;
}

TEST(NoteRules, an_added_note_cuts_what_rings_into_it_and_replaces_proposals) {
  Take take = example_take();
  done(take, AddNote{onset_of(2) + 12000, onset_of(4) + 100, 40, false});
  // Note 2 rang over the new onset, note 3 began inside, note 4 begins under the new note's end.
  ASSERT_EQ(take.notes.size(), 31U);
  EXPECT_EQ(take.notes[2].offset_samples, onset_of(2) + 12000);
  EXPECT_EQ(take.notes[2].state, State::proposed);
  EXPECT_EQ(take.notes[3].midi, 40);
  EXPECT_EQ(take.notes[3].state, State::confirmed);
  EXPECT_EQ(take.notes[3].confidence, 1.0);
  EXPECT_EQ(take.notes[3].offset_samples, onset_of(4) + 100);
  EXPECT_EQ(take.notes[4].onset_samples, onset_of(5));
}

TEST(NoteRules, an_added_note_ends_where_the_next_confirmed_one_begins) {
  Take take = example_take();
  done(take, Confirm{.notes = {take.notes[3].id}});
  done(take, AddNote{onset_of(2) + 12000, onset_of(4), 40, false});
  EXPECT_EQ(take.notes[3].offset_samples, onset_of(3));
  EXPECT_EQ(take.notes[4].onset_samples, onset_of(3));
  EXPECT_EQ(refusal(take, AddNote{onset_of(3) + 200, onset_of(4), 41, false}), ErrorCode::conflict);
}

TEST(NoteRules, a_removed_note_leaves_a_gap_in_which_nothing_is_proposed_again) {
  Take take = example_take();
  const Note removed = take.notes[5];
  done(take, RemoveNote{removed.id});
  ASSERT_EQ(take.gaps.size(), 1U);
  EXPECT_EQ(take.gaps[0].begin_samples, removed.onset_samples);
  EXPECT_EQ(take.gaps[0].end_samples, removed.offset_samples);
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  analysis.notes = example_take().notes;
  done(take, analysis);
  EXPECT_EQ(take.notes.size(), 31U);
  EXPECT_EQ(take.notes[5].onset_samples, onset_of(6));
  // A hand may still put one there, and the gap gives way.
  done(take, AddNote{onset_of(5) + 1000, onset_of(5) + 5000, 36, false});
  ASSERT_EQ(take.gaps.size(), 2U);
  EXPECT_EQ(take.gaps[0].end_samples, onset_of(5) + 1000);
  EXPECT_EQ(take.gaps[1].begin_samples, onset_of(5) + 5000);
  done(take, RemoveGap{0, take.length_samples});
  EXPECT_TRUE(take.gaps.empty());
}

TEST(NoteRules, a_new_pitch_confirms_and_remembers_the_old_one) {
  Take take = example_take();
  const Note before = take.notes[0];
  done(take, ReplaceNote{.id = before.id, .midi = before.midi + 12});
  const Note& note = take.notes[0];
  EXPECT_EQ(note.midi, before.midi + 12);
  EXPECT_EQ(note.state, State::confirmed);
  EXPECT_EQ(note.acoustic_midi, before.acoustic_midi);
  ASSERT_EQ(note.alternatives.size(), 2U);
  EXPECT_EQ(note.alternatives[0], (dsp::PitchCandidate{before.midi, 0.6}));
  EXPECT_EQ(note.alternatives[1].midi, before.midi + 1);
  EXPECT_FALSE(is_doubt(note));
  EXPECT_EQ(refusal(take, ReplaceNote{.id = note.id, .midi = 128}), ErrorCode::invalid_argument);
  EXPECT_EQ(refusal(take, ReplaceNote{.id = NoteId{5000}, .midi = 40}), ErrorCode::not_found);
}

TEST(NoteRules, a_note_moved_elsewhere_leaves_a_gap_but_one_that_is_nudged_does_not) {
  Take take = example_take();
  done(take, ReplaceNote{.id = take.notes[4].id, .onset_samples = onset_of(4) + 1500});
  EXPECT_TRUE(take.gaps.empty());
  done(take, ReplaceNote{.id = take.notes[4].id,
                         .onset_samples = onset_of(31) + 30000,
                         .offset_samples = onset_of(31) + 40000});
  ASSERT_EQ(take.gaps.size(), 1U);
  EXPECT_EQ(take.gaps[0].begin_samples, onset_of(4) + 1500);
}

TEST(NoteRules, splitting_and_joining_are_each_others_reverse_in_sound) {
  Take take = example_take();
  const Note whole = take.notes[7];
  done(take, SplitNote{whole.id, onset_of(7) + 9000});
  ASSERT_EQ(take.notes.size(), 33U);
  EXPECT_EQ(take.notes[8].onset_samples, onset_of(7) + 9000);
  EXPECT_EQ(take.notes[8].midi, whole.midi);
  EXPECT_NE(take.notes[8].id, whole.id);
  done(take, JoinNotes{whole.id});
  EXPECT_EQ(take.notes.size(), 32U);
  EXPECT_EQ(take.notes[7].offset_samples, whole.offset_samples);
  EXPECT_EQ(refusal(take, SplitNote{whole.id, onset_of(7) + 10}), ErrorCode::invalid_argument);
  EXPECT_EQ(refusal(take, JoinNotes{take.notes.back().id}), ErrorCode::not_found);
}

TEST(NoteRules, nothing_here_clears_even_confirmed_notes) {
  Take take = example_take();
  done(take, Confirm{.notes = {take.notes[3].id}});
  done(take, AddGap{onset_of(2) + 1000, onset_of(4)});
  EXPECT_EQ(take.notes.size(), 31U);
  EXPECT_EQ(take.notes[2].offset_samples, onset_of(2) + 1000);
  EXPECT_EQ(take.notes[3].onset_samples, onset_of(4));
}

// String 4 is the low E (28) of the bass: its fret 6 is 34, the example's first note; string 3
// (A, 33) has it at fret 1. First-position frets: common practice.
TEST(NoteRules, a_pinned_position_must_give_the_pitch_and_survives_fingering) {
  Take take = example_take();
  const NoteId id = take.notes[0].id;
  EXPECT_EQ(refusal(take, PinPosition{id, neck::Position{3, 2, 1}}), ErrorCode::invalid_argument);
  EXPECT_EQ(refusal(take, PinPosition{id, neck::Position{5, 0, 0}}), ErrorCode::invalid_argument);
  done(take, PinPosition{id, neck::Position{4, 6, 4}});
  EXPECT_EQ(take.notes[0].state, State::confirmed);
  done(take,
       SetFingering{{{id, neck::Position{3, 1, 1}}, {take.notes[1].id, neck::Position{3, 2, 2}}}});
  EXPECT_EQ(take.notes[0].position, (neck::Position{4, 6, 4}));
  EXPECT_EQ(take.notes[1].position, (neck::Position{3, 2, 2}));
  EXPECT_EQ(take.notes[1].state, State::proposed);
  // Another pitch: string and fret are forgotten.
  done(take, ReplaceNote{.id = id, .midi = 36});
  EXPECT_FALSE(take.notes[0].position);
  EXPECT_FALSE(take.notes[0].is_position_pinned);
  // Another neck: what no longer fits is forgotten.
  SetNeck tuned;
  tuned.neck.open_midi = {26, 33, 38, 43};
  tuned.neck.capo = 1;
  done(take, tuned);
  EXPECT_FALSE(take.notes[1].position);
}

TEST(NoteRules, a_group_is_all_or_nothing) {
  Take take = example_take();
  const EditGroup group{"Two things",
                        {SetTitle{"Other"}, ReplaceNote{.id = take.notes[0].id, .midi = 500}}};
  EXPECT_EQ(refusal(take, group), ErrorCode::invalid_argument);
  EXPECT_EQ(describe(group), "Two things");
}

TEST(NoteRules, analysis_cuts_proposals_beside_confirmed_notes_and_leaves_out_what_they_cover) {
  Take take = example_take();
  done(take, ReplaceNote{.id = take.notes[1].id, .midi = 45});
  const Note confirmed = take.notes[1];
  ReplaceProposals analysis{.begin_samples = 0, .end_samples = take.length_samples};
  Note early;  // rings into the confirmed note by less than half: cut
  early.onset_samples = confirmed.onset_samples - 10000;
  early.offset_samples = confirmed.onset_samples + 4000;
  early.midi = 40;
  Note same = early;  // the confirmed note again, 5 ms early: left out
  same.onset_samples = confirmed.onset_samples - 240;
  same.offset_samples = confirmed.offset_samples;
  analysis.notes = {early, same};
  done(take, analysis);
  ASSERT_EQ(take.notes.size(), 2U);
  EXPECT_EQ(take.notes[0].offset_samples, confirmed.onset_samples);
  EXPECT_EQ(take.notes[1], confirmed);
}

TEST(NoteRules, analysis_of_a_stretch_leaves_the_rest_alone) {
  Take take = example_take();
  const Take before = take;
  ReplaceProposals analysis{.begin_samples = onset_of(8), .end_samples = onset_of(12)};
  Note note;
  note.onset_samples = onset_of(9);
  note.offset_samples = onset_of(13);
  note.midi = 50;
  analysis.notes = {note};
  done(take, analysis);
  ASSERT_EQ(take.notes.size(), 29U);
  EXPECT_TRUE(std::equal(take.notes.begin(), take.notes.begin() + 8, before.notes.begin()));
  EXPECT_TRUE(std::equal(take.notes.begin() + 9, take.notes.end(), before.notes.begin() + 12));
  EXPECT_EQ(take.notes[8].offset_samples, onset_of(12));
}

}  // namespace
}  // namespace lowstride::take
