#include "tests/take/example_take.hpp"

#include <algorithm>
#include <utility>

namespace lowstride::take::testing_help {

Take example_take() {
  Take take;
  take.title = "Harbour Steps";
  take.recording = RecordingRef{"harbour-steps.flac", 20 * rate, 2, "0f1e2d"};
  take.time_base_hz = rate;
  take.length_samples = 20 * rate;
  take.a4_hz = 441.3;
  take.swing_ratio = 1.75;
  take.key = Key{10, false, State::proposed, 0.7};
  take.analysis_version = "1";
  constexpr std::int64_t start = rate / 2;
  for (int i = 0; i < 32; ++i) {
    const std::int64_t time = start + i * beat_samples;
    Beat beat;
    beat.id = BeatId{take.next_id++};
    beat.time_samples = time;
    beat.bar = 1 + i / 4;
    beat.beat = 1 + i % 4;
    beat.confidence = 0.9;
    take.beats.push_back(beat);
    Note note;
    note.id = NoteId{take.next_id++};
    note.onset_samples = time;
    note.offset_samples = time + beat_samples - 2000;
    note.midi = 34 + i % 7;
    note.acoustic_midi = note.midi;
    note.confidence = 0.6;
    note.octave_margin = 0.95;
    note.alternatives = {{note.midi + 12, 0.2}, {note.midi + 1, 0.1}};
    take.notes.push_back(note);
    if (i % 4 == 0) {
      ChordSpan span;
      span.id = ChordId{take.next_id++};
      span.begin_samples = time;
      span.end_samples = time + 4 * beat_samples;
      span.chord = {(i + 10) % 12, dsp::ChordQuality::dominant_seventh, (i + 10) % 12};
      span.confidence = 0.75;
      span.alternatives = {{{(i + 5) % 12, dsp::ChordQuality::minor_seventh, (i + 5) % 12}, 0.15}};
      take.chords.push_back(span);
    }
  }
  return take;
}

std::int64_t EditMaker::number(std::int64_t low, std::int64_t high) {
  return std::uniform_int_distribution<std::int64_t>(low, std::max(low, high))(random_);
}

template <typename Entry>
auto EditMaker::id_of(const std::vector<Entry>& entries) {
  if (entries.empty() || number(0, 30) == 0) return decltype(Entry::id){999'999};
  return entries[static_cast<std::size_t>(number(0, std::ssize(entries) - 1))].id;
}

Edit EditMaker::make(const Take& take) {
  switch (number(0, 9)) {
    case 0:
    case 1:
    case 2:
    case 3:
      return make_note_edit(take);
    case 4:
    case 5:
      return make_grid_edit(take);
    case 6:
      return make_chord_edit(take);
    case 7:
      return make_other_edit(take);
    case 8:
      return make_analysis(take);
    default: {
      EditGroup group{"A few things", {}};
      const auto count = number(1, 3);
      for (std::int64_t i = 0; i < count; ++i) group.edits.push_back(make_note_edit(take));
      return group;
    }
  }
}

Edit EditMaker::make_note_edit(const Take& take) {
  const std::int64_t at = place(take);
  const std::int64_t end = at + number(-100, 2 * beat_samples);
  switch (number(0, 12)) {
    case 12:
      return SetArticulation{id_of(take.notes), number(0, 1) == 0 ? neck::Articulation::slid
                                                                  : neck::Articulation::hammered};
    case 0:
    case 1:
      return AddNote{at, end, static_cast<int>(number(20, 60)), number(0, 5) == 0};
    case 2:
      return RemoveNote{id_of(take.notes)};
    case 3:
      return ReplaceNote{.id = id_of(take.notes), .midi = static_cast<int>(number(20, 130))};
    case 4:
      return ReplaceNote{.id = id_of(take.notes), .onset_samples = at, .offset_samples = end};
    case 5:
      return SplitNote{id_of(take.notes), at};
    case 6:
      return JoinNotes{id_of(take.notes)};
    case 7:
      return AddGap{at, end};
    case 8:
      return RemoveGap{at, end};
    case 9:
      return ConfirmStretch{at, end};
    case 10:
      return MarkDoubtful{{id_of(take.notes)}, {id_of(take.beats)}, {id_of(take.chords)}};
    default: {
      if (take.notes.empty()) return Confirm{};
      const Note& note =
          take.notes[static_cast<std::size_t>(number(0, std::ssize(take.notes) - 1))];
      const auto string = static_cast<int>(number(1, 4));
      const int fret = note.midi - take.neck.open_midi.at(static_cast<std::size_t>(4 - string));
      return PinPosition{note.id, neck::Position{string, fret, 1}};
    }
  }
}

Edit EditMaker::make_grid_edit(const Take& take) {
  const std::int64_t at = place(take);
  switch (number(0, 6)) {
    case 0:
      return AddBeat{at};
    case 1:
      return RemoveBeat{id_of(take.beats)};
    case 2: {
      if (take.beats.empty()) return AddBeat{at};
      const Beat& beat =
          take.beats[static_cast<std::size_t>(number(0, std::ssize(take.beats) - 1))];
      return MoveBeat{beat.id, beat.time_samples + number(-20000, 20000)};
    }
    case 3:
      return BeatOne{.id = id_of(take.beats)};
    case 4:
      return BeatOne{.id = id_of(take.beats), .bar = static_cast<int>(number(-2, 9))};
    case 5:
      return SetMeter{static_cast<int>(number(1, 5))};
    default: {
      ReplaceBeats edit{at, at + number(1, 6 * beat_samples), {}};
      for (std::int64_t t = at; t < edit.end_samples; t += number(8000, 30000)) {
        edit.times_samples.push_back(t);
      }
      return edit;
    }
  }
}

Edit EditMaker::make_chord_edit(const Take& take) {
  const std::int64_t at = place(take);
  switch (number(0, 3)) {
    case 0:
      return RemoveChord{id_of(take.chords)};
    case 1:
      return MoveChord{id_of(take.chords), at};
    default: {
      const int root = static_cast<int>(number(0, 11));
      return SetChord{at,
                      at + number(-100, 5 * beat_samples),
                      {root, dsp::ChordQuality::minor, root},
                      number(0, 1) == 0 ? "" : "C13"};
    }
  }
}

Edit EditMaker::make_other_edit(const Take& take) {
  const std::int64_t at = place(take);
  switch (number(0, 14)) {
    case 12:
      return AddRemark{at, number(0, 1) == 0 ? std::nullopt : std::optional(id_of(take.notes)),
                       number(0, 5) == 0 ? "" : "keep the thumb planted"};
    case 13:
      return ReplaceRemark{id_of(take.remarks), "longer"};
    case 14:
      return RemoveRemark{id_of(take.remarks)};
    case 11: {
      SetFingeringOptions edit;
      edit.options.position_fret = static_cast<int>(number(0, 22));
      edit.options.prefer_open = number(0, 1) == 0;
      if (number(0, 1) == 0) edit.options.left_out_strings = {static_cast<int>(number(1, 5))};
      return edit;
    }
    case 9:
    case 10: {
      SetStabs edit{at, at + number(-100, 6 * beat_samples), {}};
      for (std::int64_t t = at; t < edit.end_samples; t += number(2000, 40000)) {
        const auto fret = static_cast<int>(number(0, 21));
        edit.stabs.push_back(
            {t, t + number(1000, 5000), {{4, fret, fret > 0 ? 1 : 0}, {2, 7, 3}}, {}});
      }
      return edit;
    }
    case 0:
      return SetTuning{static_cast<double>(number(370, 480))};
    case 1:
      return SetKey{static_cast<int>(number(0, 12)), number(0, 1) == 0};
    case 2:
      return SetTitle{number(0, 3) == 0 ? "bad\x01title" : "Harbour Steps, slowly"};
    case 3:
      return AddPassage{"part " + std::to_string(number(0, 9)), at, at + number(0, 90000)};
    case 4:
      return RemovePassage{id_of(take.passages)};
    case 5:
      return ReplacePassage{
          id_of(take.passages), "part " + std::to_string(number(0, 9)), at, at + number(0, 90000),
          number(0, 1) == 0 ? std::nullopt : std::optional(static_cast<int>(number(-1, 6)))};
    case 6: {
      SetNeck edit;
      if (number(0, 1) == 0) edit.neck.open_midi = {23, 28, 33, 38, 43};
      edit.octave_shift = static_cast<int>(number(0, 1));
      return edit;
    }
    case 7:
      return SetForm{"blues"};
    default:
      return Confirm{.tuning = true, .meter = true, .key = true};
  }
}

Edit EditMaker::make_analysis(const Take& take) {
  ReplaceProposals edit;
  edit.begin_samples = number(0, 1) == 0 ? 0 : place(take) / 2;
  edit.end_samples = number(0, 1) == 0 ? take.length_samples : edit.begin_samples + place(take) / 2;
  edit.sets_facts = number(0, 1) == 0;
  edit.key = Key{3, true, State::proposed, 0.5};
  edit.a4_hz = 442.0;
  edit.analysis_version = "2";
  std::int64_t bar = 0;
  for (std::int64_t t = number(0, beat_samples); t < take.length_samples - beat_samples;
       t += number(18000, 30000)) {
    Note note;
    note.onset_samples = t + number(-500, 500);
    note.offset_samples = note.onset_samples + number(500, 26000);
    note.midi = static_cast<int>(number(25, 60));
    note.confidence = 0.5;
    if (note.onset_samples >= 0) edit.notes.push_back(note);
    Beat beat;
    beat.time_samples = t;
    beat.bar = static_cast<int>(bar / 4);
    beat.beat = 1 + static_cast<int>(bar++ % 4);
    edit.beats.push_back(beat);
    ChordSpan span;
    span.begin_samples = edit.chords.empty() ? t : edit.chords.back().end_samples;
    span.end_samples = span.begin_samples + number(1000, 50000);
    span.chord.root_pc = static_cast<int>(number(0, 11));
    if (span.end_samples <= take.length_samples) edit.chords.push_back(span);
  }
  return edit;
}

}  // namespace lowstride::take::testing_help
