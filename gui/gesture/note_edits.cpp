#include "gui/gesture/note_edits.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "gui/layout/digest.hpp"
#include "gui/model/desk_state.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::desk {
namespace {

using take::Edit;
using take::Note;

tl::unexpected<Error> no_note() {
  return fail(ErrorCode::invalid_argument, "Select a note first.");
}

/// One edit by itself, several as a group with a name.
Result<Edit> as_one(std::string name, std::vector<Edit> edits, std::string_view otherwise) {
  if (edits.empty()) return fail(ErrorCode::invalid_argument, std::string(otherwise));
  if (edits.size() == 1) return std::move(edits.front());
  return Edit{take::EditGroup{std::move(name), std::move(edits)}};
}

/// The notes in order of time, however they were selected.
std::vector<const Note*> found(const take::Take& take, NoteIds ids) {
  std::vector<const Note*> notes;
  for (const take::NoteId id : ids) {
    if (const auto index = index_of(take, id)) notes.push_back(&take.notes[*index]);
  }
  std::ranges::sort(notes, {}, &Note::onset_samples);
  return notes;
}

/// The pitch that a string gives at a fret, as it sounds on the recording.
int recorded_midi(const take::Take& take, int string_number, int fret) {
  return neck::sounding_midi(take.neck, string_number, fret) - 12 * take.octave_shift;
}

std::optional<int> fret_for(const take::Take& take, int string_number, int midi) {
  if (string_number < 1 || string_number > take.neck.string_count()) return std::nullopt;
  const int fret = midi - recorded_midi(take, string_number, 0);
  if (fret < 0 || fret > neck::last_fret(take.neck)) return std::nullopt;
  return fret;
}

take::PinPosition pin(take::NoteId id, int string_number, int fret) {
  return {.id = id,
          .position = neck::Position{.string_number = string_number, .fret = fret, .finger = 0}};
}

}  // namespace

Result<Edit> shift_pitch(const take::Take& take, NoteIds ids, int semitones) {
  if (ids.empty()) return no_note();
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) {
    const int midi = note->midi + semitones;
    if (midi < 0 || midi > 127) continue;
    edits.emplace_back(take::ReplaceNote{.id = note->id, .midi = midi});
  }
  return as_one(std::abs(semitones) == 12 ? "Move by an octave" : "Move by a semitone",
                std::move(edits), "There is no pitch further that way.");
}

Result<Edit> set_pitch(const take::Take& take, take::NoteId id, int midi) {
  if (!index_of(take, id)) return no_note();
  return Edit{take::ReplaceNote{.id = id, .midi = midi}};
}

Result<Edit> set_fret(const take::Take& take, take::NoteId id, int string_number, int fret) {
  const auto index = index_of(take, id);
  if (!index) return no_note();
  if (string_number < 1 || string_number > take.neck.string_count()) return no_note();
  if (fret > neck::last_fret(take.neck)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("This neck ends at fret {}.", neck::last_fret(take.neck)));
  }
  const int midi = recorded_midi(take, string_number, fret);
  std::vector<Edit> edits;
  if (midi != take.notes[*index].midi) {
    edits.emplace_back(take::ReplaceNote{.id = id, .midi = midi});
  }
  edits.emplace_back(pin(id, string_number, fret));
  return as_one("Set fret", std::move(edits), "");
}

Result<Edit> move_to_string(const take::Take& take, NoteIds ids, int strings) {
  if (ids.empty()) return no_note();
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) {
    if (!note->position) continue;
    const int string = note->position->string_number + strings;
    if (const auto fret = fret_for(take, string, note->midi)) {
      edits.emplace_back(pin(note->id, string, *fret));
    }
  }
  return as_one("Move to another string", std::move(edits),
                "That string does not have the note on this neck.");
}

Result<Edit> unpin(const take::Take& take, NoteIds ids) {
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) {
    if (note->is_position_pinned) edits.emplace_back(take::PinPosition{note->id, std::nullopt});
  }
  return as_one("Leave strings open", std::move(edits),
                "No string was chosen by hand among these notes.");
}

Result<Edit> place_note(const take::Take& take, take::NoteId id, const take::Stretch& place,
                        std::optional<int> string_number) {
  const auto index = index_of(take, id);
  if (!index) return no_note();
  const Note& note = take.notes[*index];
  std::vector<Edit> edits;
  take::ReplaceNote replace{.id = id};
  if (place.begin_samples != note.onset_samples) replace.onset_samples = place.begin_samples;
  if (place.end_samples != note.offset_samples) replace.offset_samples = place.end_samples;
  if (replace.onset_samples || replace.offset_samples) edits.emplace_back(replace);
  if (string_number) {
    const auto fret = fret_for(take, *string_number, note.midi);
    if (!fret) {
      return fail(ErrorCode::invalid_argument, "That string does not have the note on this neck.");
    }
    edits.emplace_back(pin(id, *string_number, *fret));
  }
  return as_one("Move note", std::move(edits), "The note stays where it is.");
}

Result<Edit> nudge(const take::Take& take, NoteIds ids, NoteEdge edge, std::int64_t samples) {
  if (ids.empty()) return no_note();
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) {
    take::ReplaceNote replace{.id = note->id};
    if (edge == NoteEdge::onset) {
      const std::int64_t onset = std::max<std::int64_t>(0, note->onset_samples + samples);
      if (onset >= note->offset_samples) continue;
      replace.onset_samples = onset;
    } else {
      const std::int64_t end = std::min(take.length_samples, note->offset_samples + samples);
      if (end <= note->onset_samples) continue;
      replace.offset_samples = end;
    }
    edits.emplace_back(replace);
  }
  return as_one(edge == NoteEdge::onset ? "Move onset" : "Move end", std::move(edits),
                "The note would have no length.");
}

Result<Edit> split_note(const take::Take& take, take::NoteId id,
                        std::optional<std::int64_t> at_samples) {
  const auto index = index_of(take, id);
  if (!index) return no_note();
  const Note& note = take.notes[*index];
  std::int64_t at = (note.onset_samples + note.offset_samples) / 2;
  if (at_samples && *at_samples > note.onset_samples && *at_samples < note.offset_samples) {
    at = *at_samples;
  }
  return Edit{take::SplitNote{.id = id, .at_samples = at}};
}

Result<Edit> join_notes(const take::Take& take, NoteIds ids) {
  const std::vector<const Note*> notes = found(take, ids);
  if (notes.empty()) return no_note();
  std::vector<Edit> edits;
  const std::size_t joints = std::max<std::size_t>(1, notes.size() - 1);
  for (std::size_t i = 0; i < joints; ++i) {
    edits.emplace_back(take::JoinNotes{notes.front()->id});
  }
  return as_one("Join notes", std::move(edits), "");
}

Result<Edit> tie_notes(const take::Take& take, NoteIds ids) {
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) {
    const auto index = static_cast<std::size_t>(note - take.notes.data());
    if (index + 1 >= take.notes.size()) continue;
    const Note& next = take.notes[index + 1];
    if (next.midi == note->midi) {
      edits.emplace_back(take::JoinNotes{note->id});
    } else if (next.onset_samples > note->offset_samples) {
      edits.emplace_back(take::ReplaceNote{.id = note->id, .offset_samples = next.onset_samples});
    }
  }
  return as_one("Tie", std::move(edits), "There is nothing after the note to tie it to.");
}

Result<Edit> remove_notes(const take::Take& take, NoteIds ids) {
  std::vector<Edit> edits;
  for (const Note* note : found(take, ids)) edits.emplace_back(take::RemoveNote{note->id});
  return as_one("Remove notes", std::move(edits), "Select a note first.");
}

Result<Edit> toggle_dead(const take::Take& take, NoteIds ids) {
  const std::vector<const Note*> notes = found(take, ids);
  const bool are_all_dead = std::ranges::all_of(notes, &Note::is_dead);
  std::vector<Edit> edits;
  edits.reserve(notes.size());
  for (const Note* note : notes) {
    edits.emplace_back(take::ReplaceNote{.id = note->id, .is_dead = !are_all_dead});
  }
  return as_one("Dead notes", std::move(edits), "Select a note first.");
}

Result<Edit> add_note(const take::Take& take, const dsp::Evidence* evidence, int string_number,
                      std::int64_t at_samples) {
  if (string_number < 1 || string_number > take.neck.string_count()) {
    return fail(ErrorCode::invalid_argument, "Point at a string.");
  }
  take::AddNote edit;
  edit.onset_samples = std::clamp<std::int64_t>(at_samples, 0, take.length_samples);
  // To the next beat and half of it again at most, else half a second.
  const std::size_t beat = first_beat_from(take, static_cast<double>(edit.onset_samples) + 1.0);
  edit.offset_samples = edit.onset_samples + take.time_base_hz / 2;
  if (beat > 0 && beat < take.beats.size()) {
    edit.offset_samples =
        edit.onset_samples + take.beats[beat].time_samples - take.beats[beat - 1].time_samples;
  }
  const std::size_t next = first_note_from(take, static_cast<double>(edit.onset_samples) + 1.0);
  if (next < take.notes.size()) {
    edit.offset_samples = std::min(edit.offset_samples, take.notes[next].onset_samples);
  }
  edit.offset_samples = std::min(edit.offset_samples, take.length_samples);
  edit.midi = recorded_midi(take, string_number, 0);
  if (evidence != nullptr && evidence->frame_count() > 0) {
    // The middle of the note: its attack says little about its pitch.
    const double seconds =
        take::to_seconds((edit.onset_samples + edit.offset_samples) / 2, take.time_base_hz);
    const auto frame = std::min(static_cast<std::size_t>(dsp::seconds_frame(seconds)),
                                evidence->frame_count() - 1);
    float strongest = 0.05F;
    for (int fret = 0; fret <= neck::last_fret(take.neck); ++fret) {
      const int midi = recorded_midi(take, string_number, fret);
      const int column = midi - dsp::lowest_evidence_midi;
      if (column < 0 || column >= static_cast<int>(dsp::evidence_pitch_count)) continue;
      const float value = evidence->pitch.at(frame, static_cast<std::size_t>(column));
      if (value > strongest) {
        strongest = value;
        edit.midi = midi;
      }
    }
  }
  return Edit{edit};
}

Result<Edit> confirm(const Selected& selected) {
  take::Confirm edit;
  edit.notes = selected.notes;
  if (selected.chord) edit.chords.push_back(*selected.chord);
  if (selected.beat) edit.beats.push_back(*selected.beat);
  if (edit == take::Confirm{}) {
    return fail(ErrorCode::invalid_argument, "Select what is right first.");
  }
  return Edit{std::move(edit)};
}

Result<Edit> mark_doubtful(const Selected& selected) {
  take::MarkDoubtful edit;
  edit.notes = selected.notes;
  if (selected.chord) edit.chords.push_back(*selected.chord);
  if (selected.beat) edit.beats.push_back(*selected.beat);
  if (edit == take::MarkDoubtful{}) {
    return fail(ErrorCode::invalid_argument, "Select what is doubtful first.");
  }
  return Edit{std::move(edit)};
}

std::vector<take::NoteId> all_like(const take::Take& take, take::NoteId id) {
  std::vector<take::NoteId> ids;
  const auto index = index_of(take, id);
  if (!index) return ids;
  const Note& model = take.notes[*index];
  const auto string_of = [](const Note& note) {
    return note.position ? std::optional(note.position->string_number) : std::nullopt;
  };
  for (const Note& note : take.notes) {
    if (note.midi == model.midi && note.is_dead == model.is_dead &&
        string_of(note) == string_of(model)) {
      ids.push_back(note.id);
    }
  }
  return ids;
}

std::vector<take::NoteId> notes_in(const take::Take& take, const take::Stretch& stretch) {
  std::vector<take::NoteId> ids;
  for (std::size_t i = first_note_from(take, static_cast<double>(stretch.begin_samples));
       i < take.notes.size() && take.notes[i].onset_samples < stretch.end_samples; ++i) {
    ids.push_back(take.notes[i].id);
  }
  return ids;
}

Result<Edit> copy_stretch(const take::Take& take, const take::Stretch& from,
                          std::int64_t to_samples) {
  // Beat for beat, so that the copy keeps its place in bars that are a little longer or shorter.
  const auto beat_of = [&take](double sample) -> double {
    const std::size_t next = first_beat_from(take, sample + 0.5);
    const std::size_t at = std::clamp<std::size_t>(next, 1, take.beats.size() - 1);
    const auto begin = static_cast<double>(take.beats[at - 1].time_samples);
    const auto end = static_cast<double>(take.beats[at].time_samples);
    return static_cast<double>(at - 1) + (sample - begin) / (end - begin);
  };
  const auto sample_of = [&take](double beat) -> std::int64_t {
    const auto at = std::clamp<std::size_t>(static_cast<std::size_t>(std::max(0.0, beat)), 0,
                                            take.beats.size() - 2);
    const auto begin = static_cast<double>(take.beats[at].time_samples);
    const auto end = static_cast<double>(take.beats[at + 1].time_samples);
    return std::llround(begin + (beat - static_cast<double>(at)) * (end - begin));
  };
  if (take.beats.size() < 2) {
    return fail(ErrorCode::invalid_argument, "Copying bars needs beats; tap them first.");
  }
  const double from_beat = std::round(beat_of(static_cast<double>(from.begin_samples)));
  const double by = std::round(beat_of(static_cast<double>(to_samples))) - from_beat;
  const double beats = std::round(beat_of(static_cast<double>(from.end_samples))) - from_beat;
  if (by == 0.0) {
    return fail(ErrorCode::invalid_argument, "Point at the bar to copy to, then copy.");
  }
  const take::Stretch target{sample_of(from_beat + by), sample_of(from_beat + by + beats)};
  std::vector<Edit> edits;
  for (const take::NoteId id : notes_in(take, target)) edits.emplace_back(take::RemoveNote{id});
  bool has_notes = false;
  for (const take::NoteId id : notes_in(take, from)) {
    const Note& note = take.notes[*index_of(take, id)];
    take::AddNote copy;
    copy.onset_samples = sample_of(beat_of(static_cast<double>(note.onset_samples)) + by);
    copy.offset_samples = std::min(
        sample_of(beat_of(static_cast<double>(note.offset_samples)) + by), take.length_samples);
    copy.midi = note.midi;
    copy.is_dead = note.is_dead;
    if (copy.onset_samples < 0 || copy.offset_samples <= copy.onset_samples) continue;
    edits.emplace_back(copy);
    has_notes = true;
  }
  if (!has_notes) {
    return fail(ErrorCode::invalid_argument, "There are no notes in the stretch to copy.");
  }
  return Edit{take::EditGroup{"Copy bars", std::move(edits)}};
}

std::int64_t snapped_to_grid(const take::Take& take, std::int64_t sample, double reach_samples) {
  const std::size_t next = first_beat_from(take, static_cast<double>(sample) + 0.5);
  if (next == 0 || next >= take.beats.size()) return sample;
  const auto begin = static_cast<double>(take.beats[next - 1].time_samples);
  const double length = static_cast<double>(take.beats[next].time_samples) - begin;
  const double swing = take.swing_ratio ? *take.swing_ratio / (1.0 + *take.swing_ratio) : 0.5;
  double best = static_cast<double>(sample);
  double least = reach_samples;
  for (const double share : {0.0, 0.25, 1.0 / 3.0, 0.5, swing, 2.0 / 3.0, 0.75, 1.0}) {
    const double at = begin + share * length;
    const double distance = std::abs(at - static_cast<double>(sample));
    if (distance < least) {
      least = distance;
      best = at;
    }
  }
  return std::llround(best);
}

}  // namespace lowstride::desk
