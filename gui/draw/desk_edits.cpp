#include <algorithm>
#include <cmath>

#include "gui/draw/desk.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::desk {
namespace {

/// Ten milliseconds: a nudge that the ear tells from none.
constexpr std::int64_t nudges_a_second = 100;

std::int64_t whole(double sample) { return static_cast<std::int64_t>(std::llround(sample)); }

}  // namespace

void Desk::run_notes(Action action) {
  const take::Take& take = session_.take();
  const std::int64_t nudge_samples = take.time_base_hz / nudges_a_second;
  const std::vector<take::NoteId> ids = state_.notes;
  const auto first = note_at_hand();
  const take::NoteId first_id = first ? take.notes[*first].id : take::NoteId{};
  switch (action) {
    case Action::confirm:
      return apply(confirm(selected()));
    case Action::doubt_and_next:
      apply(mark_doubtful(selected()));
      return go_to_doubt(1);
    case Action::semitone_up:
      return apply(shift_pitch(take, ids, 1));
    case Action::semitone_down:
      return apply(shift_pitch(take, ids, -1));
    case Action::octave_higher:
      return apply(shift_pitch(take, ids, 12));
    case Action::octave_lower:
      return apply(shift_pitch(take, ids, -12));
    case Action::string_higher:
      return apply(move_to_string(take, ids, -1));
    case Action::string_lower:
      return apply(move_to_string(take, ids, 1));
    case Action::unpin:
      return apply(unpin(take, ids));
    case Action::onset_earlier:
      return apply(nudge(take, ids, NoteEdge::onset, -nudge_samples));
    case Action::onset_later:
      return apply(nudge(take, ids, NoteEdge::onset, nudge_samples));
    case Action::end_earlier:
      return apply(nudge(take, ids, NoteEdge::end, -nudge_samples));
    case Action::end_later:
      return apply(nudge(take, ids, NoteEdge::end, nudge_samples));
    case Action::split:
      return apply(split_note(take, first_id, whole(state_.cursor_samples)));
    case Action::join:
      return apply(join_notes(take, ids));
    case Action::tie:
      return apply(tie_notes(take, ids));
    case Action::dead:
      return apply(toggle_dead(take, ids));
    case Action::add_note: {
      const int string = first && take.notes[*first].position
                             ? take.notes[*first].position->string_number
                             : take.neck.string_count();
      const std::int64_t at = whole(state_.cursor_samples);
      apply(add_note(take, session_.evidence().get(), string, at));
      if (const auto index = note_at(session_.take(), static_cast<double>(at) + 1.0)) {
        state_.select_only(session_.take().notes[*index].id);
      }
      return;
    }
    case Action::remark:
      return begin_remark();
    case Action::remove: {
      if (state_.remark) return apply(take::Edit{take::RemoveRemark{*state_.remark}});
      if (state_.passage) return run(Action::remove_passage);
      if (state_.beat) return run(Action::drop_beat);
      if (state_.chord && ids.empty()) {
        return apply(Result<take::Edit>(take::Edit{take::RemoveChord{*state_.chord}}));
      }
      return apply(remove_notes(take, ids));
    }
    case Action::next_candidate: {
      if (!first && state_.chord) return run(Action::chord_1);
      if (!first) return say("Select a note or a chord first.");
      const take::Note& note = take.notes[*first];
      if (note.alternatives.empty()) return say("There is no other candidate.");
      return apply(set_pitch(take, note.id, note.alternatives.front().midi));
    }
    default:
      if (!state_.range) return say("Mark the bars to copy, and put the cursor where they go.");
      return apply(copy_stretch(take, *state_.range, whole(state_.cursor_samples)));
  }
}

void Desk::run_chords_and_beats(Action action) {
  const take::Take& take = session_.take();
  const auto chord = chord_at_hand();
  const auto beat_here = [&]() -> std::optional<take::BeatId> {
    if (state_.beat) return state_.beat;
    const take::Beat* beat = take::nearest_beat(take, whole(state_.cursor_samples));
    if (beat == nullptr) return std::nullopt;
    return beat->id;
  };
  switch (action) {
    case Action::name_chord:
      if (!chord) return run(Action::insert_chord);
      naming_ = ChordNaming{.id = take.chords[*chord].id};
      return;
    case Action::chord_1:
    case Action::chord_2:
    case Action::chord_3: {
      const auto rank =
          static_cast<std::size_t>(action) - static_cast<std::size_t>(Action::chord_1);
      if (!chord || take.chords[*chord].alternatives.size() <= rank) {
        return say("There is no such candidate for the chord.");
      }
      const take::ChordSpan& span = take.chords[*chord];
      return apply(choose_chord(take, span.id, span.alternatives[rank].chord));
    }
    case Action::chord_bass: {
      const auto note = note_at_hand();
      if (!note || !chord) return say("Select a note under a chord first.");
      return apply(set_chord_bass(take, take.chords[*chord].id, take.notes[*note].midi % 12));
    }
    case Action::insert_chord: {
      std::int64_t at = whole(state_.cursor_samples);
      if (const take::Beat* beat = take::nearest_beat(take, at)) at = beat->time_samples;
      naming_ = ChordNaming{.id = {}, .at_samples = at};
      return;
    }
    case Action::tap:
      return tap_beat();
    case Action::beat_one:
      if (const auto beat = beat_here()) {
        return apply(Result<take::Edit>(take::Edit{take::BeatOne{.id = *beat}}));
      }
      return say("There are no beats yet; play and tap them.");
    case Action::insert_beat:
      return apply(Result<take::Edit>(take::Edit{take::AddBeat{whole(state_.cursor_samples)}}));
    case Action::drop_beat:
      if (const auto beat = beat_here()) {
        return apply(Result<take::Edit>(take::Edit{take::RemoveBeat{*beat}}));
      }
      return say("There is no beat here.");
    case Action::double_beats:
      return apply(double_beats(take, state_.range));
    default:
      return apply(halve_beats(take, state_.range));
  }
}

void Desk::colour_passage(std::size_t index, std::size_t colour) {
  const take::Passage& passage = session_.take().passages[index];
  apply(take::Edit{take::ReplacePassage{passage.id, passage.name, passage.begin_samples,
                                        passage.end_samples, static_cast<int>(colour)}});
}

void Desk::begin_remark(std::optional<take::RemarkId> id) {
  const take::Take& take = session_.take();
  const auto note = note_at_hand();
  // One that is there is changed: the selected one, the note's, the bar's.
  const Digest& digest = session_.digest(state_.doubt_threshold);
  const auto bar = bar_at(digest, state_.cursor_samples);
  const std::int64_t bar_begin = bar ? digest.bars[*bar].at_samples : whole(state_.cursor_samples);
  if (!id) id = state_.remark;
  for (const take::Remark& remark : take.remarks) {
    if (id) break;
    const bool is_here =
        note ? remark.note == take.notes[*note].id : !remark.note && remark.at_samples == bar_begin;
    if (is_here) id = remark.id;
  }
  if (id) {
    const auto index = index_of(take, *id);
    if (!index) return;
    remark_writing_ = RemarkWriting{.id = id, .text = take.remarks[*index].text};
    return;
  }
  remark_writing_ = RemarkWriting{.at_samples = bar_begin};
  if (note) remark_writing_->note = take.notes[*note].id;
}

void Desk::run_passages(Action action) {
  const take::Take& take = session_.take();
  switch (action) {
    case Action::name_passage: {
      if (state_.passage) {
        if (const auto index = index_of(take, *state_.passage)) {
          const take::Passage& passage = take.passages[*index];
          passage_naming_ = PassageNaming{.id = passage.id,
                                          .stretch = {passage.begin_samples, passage.end_samples},
                                          .name = passage.name};
          return;
        }
      }
      const auto stretch = stretch_at_hand();
      if (!stretch) return say("Drag over the bar numbers to mark a stretch, then name it.");
      passage_naming_ =
          PassageNaming{.id = {}, .stretch = *stretch, .name = free_passage_name(take)};
      return;
    }
    case Action::remove_passage:
      if (!state_.passage) return say("Select a passage first.");
      return apply(Result<take::Edit>(take::Edit{take::RemovePassage{*state_.passage}}));
    case Action::passage_colour: {
      const auto index = state_.passage ? index_of(take, *state_.passage) : std::nullopt;
      if (!index) return say("Select a passage first.");
      const std::size_t next = (passage_colour(take, *index) + 1) % theme().passages.size();
      return colour_passage(*index, next);
    }
    default: {
      const auto index =
          static_cast<std::size_t>(action) - static_cast<std::size_t>(Action::passage_1);
      if (index >= take.passages.size()) return say("There is no such passage.");
      const take::Passage& passage = take.passages[index];
      state_.clear_selection();
      state_.passage = passage.id;
      state_.range = take::Stretch{passage.begin_samples, passage.end_samples};
      state_.is_loop_on = true;
      hearing_changed();
      return go_to(passage.begin_samples);
    }
  }
}

}  // namespace lowstride::desk
