#pragma once

#include <optional>

#include "src/take/json_archive.hpp"
#include "src/take/take.hpp"

// The fields of a take and its entries, as they stand in files. The order here is the order there.
// A field with a second value is left out of the file when it has that value.
namespace lowstride::take::detail {

template <typename A, Is<neck::Position> P>
void fields(A& a, P& position) {
  a("string", position.string_number);
  a("fret", position.fret);
  a("finger", position.finger, 0);
}

template <typename A, Is<neck::Neck> N>
void fields(A& a, N& neck) {
  a("name", neck.name);
  a("open_midi", neck.open_midi);
  a("capo", neck.capo, 0);
  a("fret_count", neck.fret_count);
  a("scale_mm", neck.scale_mm);
}

template <typename A, Is<neck::FingeringOptions> F>
void fields(A& a, F& fingering) {
  a("position_fret", fingering.position_fret, std::nullopt);
  a("prefer_open", fingering.prefer_open, false);
  a("prefer_low", fingering.prefer_low, true);
  a("max_span_mm", fingering.max_span_mm, 135.0);
  a("left_out_strings", fingering.left_out_strings, {});
}

template <typename A, Is<RecordingRef> R>
void fields(A& a, R& recording) {
  a("path", recording.path);
  a("sample_count", recording.sample_count);
  a("channel_count", recording.channel_count);
  a("content_hash", recording.content_hash);
}

template <typename A, Is<Key> K>
void fields(A& a, K& key) {
  a("tonic_pc", key.tonic_pc);
  a("is_minor", key.is_minor);
  a("state", key.state);
  a("confidence", key.confidence);
}

template <typename A, Is<Note> N>
void fields(A& a, N& note) {
  a("id", note.id);
  a("onset_samples", note.onset_samples);
  a("offset_samples", note.offset_samples);
  a("midi", note.midi);
  a("dead", note.is_dead, false);
  a("articulation", note.articulation, neck::Articulation::plucked);
  a("state", note.state);
  a("confidence", note.confidence);
  a("octave_margin", note.octave_margin, 1.0);
  a("acoustic_midi", note.acoustic_midi, note.midi);
  a("alternatives", note.alternatives, {});
  a("position", note.position, std::nullopt);
  a("pinned", note.is_position_pinned, false);
  a.unknown(note.unknown_fields_json);
}

template <typename A, Is<ConfirmedGap> G>
void fields(A& a, G& gap) {
  a("begin_samples", gap.begin_samples);
  a("end_samples", gap.end_samples);
  a.unknown(gap.unknown_fields_json);
}

template <typename A, Is<Beat> B>
void fields(A& a, B& beat) {
  a("id", beat.id);
  a("time_samples", beat.time_samples);
  a("bar", beat.bar);
  a("beat", beat.beat);
  a("state", beat.state);
  a("confidence", beat.confidence);
  a("pinned_one", beat.is_pinned_one, false);
  a.unknown(beat.unknown_fields_json);
}

template <typename A, Is<ChordSpan> C>
void fields(A& a, C& span) {
  a("id", span.id);
  a("begin_samples", span.begin_samples);
  a("end_samples", span.end_samples);
  a("chord", span.chord);
  a("written", span.written, {});
  a("state", span.state);
  a("confidence", span.confidence);
  a("implied", span.is_implied, false);
  a("alternatives", span.alternatives, {});
  a.unknown(span.unknown_fields_json);
}

template <typename A, Is<Stab> S>
void fields(A& a, S& stab) {
  a("onset_samples", stab.onset_samples);
  a("offset_samples", stab.offset_samples);
  a("positions", stab.positions);
  a.unknown(stab.unknown_fields_json);
}

template <typename A, Is<Passage> P>
void fields(A& a, P& passage) {
  a("id", passage.id);
  a("name", passage.name);
  a("begin_samples", passage.begin_samples);
  a("end_samples", passage.end_samples);
  a("colour", passage.colour, std::nullopt);
  a.unknown(passage.unknown_fields_json);
}

template <typename A, Is<Remark> R>
void fields(A& a, R& remark) {
  a("id", remark.id);
  a("at_samples", remark.at_samples);
  a("note", remark.note, std::nullopt);
  a("text", remark.text);
  a.unknown(remark.unknown_fields_json);
}

template <typename A, Is<Take> T>
void fields(A& a, T& take) {
  a("title", take.title);
  a("composer", take.composer, {});
  a("recording", take.recording, std::nullopt);
  a("time_base_hz", take.time_base_hz);
  a("length_samples", take.length_samples);
  a("voice", take.voice);
  a("a4_hz", take.a4_hz);
  a("tuning_state", take.tuning_state);
  a("beats_per_bar", take.beats_per_bar);
  a("meter_state", take.meter_state);
  a("swing_ratio", take.swing_ratio, std::nullopt);
  a("key", take.key, std::nullopt);
  a("form", take.form, {});
  a("form_state", take.form_state, State::proposed);
  a("neck", take.neck);
  a("fingering", take.fingering, {});
  a("octave_shift", take.octave_shift, 0);
  a("next_id", take.next_id);
  a("analysis_version", take.analysis_version, {});
  a("passages", take.passages, {});
  a("remarks", take.remarks, {});
  a("beats", take.beats, {});
  a("chords", take.chords, {});
  a("notes", take.notes, {});
  a("gaps", take.gaps, {});
  a("stabs", take.stabs, {});
  a.unknown(take.unknown_fields_json);
}

}  // namespace lowstride::take::detail
