#include <algorithm>
#include <array>
#include <cstddef>
#include <string_view>
#include <utility>
#include <variant>

#include "src/take/edit.hpp"
#include "src/take/json_archive.hpp"
#include "src/take/take_fields.hpp"
#include "src/take/take_json.hpp"

// The fields of edits, as they stand in journals, and the edits' names there.
namespace lowstride::take {

static bool from_json(const detail::Json& json, Edit& edit);
static void append_json(std::string& out, const Edit& edit);

namespace detail {

/// What many edits begin with: the part of the take that they are about.
template <typename A, typename E>
void stretch(A& a, E& edit) {
  a("begin_samples", edit.begin_samples);
  a("end_samples", edit.end_samples);
}

/// Notes, beats and chords that an edit names or brings.
template <typename A, typename E>
void entries(A& a, E& edit) {
  a("notes", edit.notes, {});
  a("beats", edit.beats, {});
  a("chords", edit.chords, {});
}

template <typename A, Is<AddNote> E>
void fields(A& a, E& edit) {
  a("onset_samples", edit.onset_samples);
  a("offset_samples", edit.offset_samples);
  a("midi", edit.midi);
  a("dead", edit.is_dead, false);
}

template <typename A, typename E>
requires Is<E, RemoveNote> || Is<E, RemoveBeat> || Is<E, RemoveChord> || Is<E, RemovePassage> ||
    Is<E, RemoveRemark>
void fields(A& a, E& edit) { a("id", edit.id); }

template <typename A, Is<ReplaceNote> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("onset_samples", edit.onset_samples, std::nullopt);
  a("offset_samples", edit.offset_samples, std::nullopt);
  a("midi", edit.midi, std::nullopt);
  a("dead", edit.is_dead, std::nullopt);
}

template <typename A, Is<SplitNote> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("at_samples", edit.at_samples);
}

template <typename A, Is<JoinNotes> E>
void fields(A& a, E& edit) {
  a("first", edit.first);
}

template <typename A, typename E>
requires Is<E, AddGap> || Is<E, RemoveGap> || Is<E, ConfirmStretch>
void fields(A& a, E& edit) { stretch(a, edit); }

template <typename A, Is<Confirm> E>
void fields(A& a, E& edit) {
  entries(a, edit);
  a("tuning", edit.tuning, false);
  a("meter", edit.meter, false);
  a("key", edit.key, false);
}

template <typename A, Is<MarkDoubtful> E>
void fields(A& a, E& edit) {
  entries(a, edit);
}

template <typename A, Is<SetNeck> E>
void fields(A& a, E& edit) {
  a("neck", edit.neck);
  a("octave_shift", edit.octave_shift, 0);
}

template <typename A, typename E>
requires Is<E, PinPosition> || Is<E, PlacedNote>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("position", edit.position, std::nullopt);
}

template <typename A, Is<SetFingering> E>
void fields(A& a, E& edit) {
  a("notes", edit.notes);
}

template <typename A, Is<AddBeat> E>
void fields(A& a, E& edit) {
  a("time_samples", edit.time_samples);
}

template <typename A, Is<MoveBeat> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("time_samples", edit.time_samples);
}

template <typename A, Is<ReplaceBeats> E>
void fields(A& a, E& edit) {
  stretch(a, edit);
  a("times_samples", edit.times_samples);
}

template <typename A, Is<BeatOne> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("bar", edit.bar, std::nullopt);
}

template <typename A, Is<SetMeter> E>
void fields(A& a, E& edit) {
  a("beats_per_bar", edit.beats_per_bar);
}

template <typename A, Is<SetChord> E>
void fields(A& a, E& edit) {
  stretch(a, edit);
  a("chord", edit.chord);
  a("written", edit.written, {});
}

template <typename A, Is<MoveChord> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("begin_samples", edit.begin_samples);
}

template <typename A, Is<SetFingeringOptions> E>
void fields(A& a, E& edit) {
  a("options", edit.options);
}

template <typename A, Is<SetArticulation> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("articulation", edit.articulation);
}

template <typename A, Is<SetStabs> E>
void fields(A& a, E& edit) {
  stretch(a, edit);
  a("stabs", edit.stabs, {});
}

template <typename A, Is<SetTuning> E>
void fields(A& a, E& edit) {
  a("a4_hz", edit.a4_hz);
}

template <typename A, Is<SetKey> E>
void fields(A& a, E& edit) {
  a("tonic_pc", edit.tonic_pc);
  a("is_minor", edit.is_minor);
}

template <typename A, Is<SetTitle> E>
void fields(A& a, E& edit) {
  a("title", edit.title);
}

template <typename A, Is<SetComposer> E>
void fields(A& a, E& edit) {
  a("composer", edit.composer);
}

template <typename A, Is<SetForm> E>
void fields(A& a, E& edit) {
  a("form", edit.form);
}

template <typename A, Is<SetRecording> E>
void fields(A& a, E& edit) {
  a("recording", edit.recording);
}

template <typename A, typename E>
requires Is<E, AddPassage> || Is<E, ReplacePassage>
void fields(A& a, E& edit) {
  if constexpr (Is<E, ReplacePassage>) a("id", edit.id);
  a("name", edit.name);
  stretch(a, edit);
  a("colour", edit.colour, std::nullopt);
}

template <typename A, Is<AddRemark> E>
void fields(A& a, E& edit) {
  a("at_samples", edit.at_samples);
  a("note", edit.note, std::nullopt);
  a("text", edit.text);
}

template <typename A, Is<ReplaceRemark> E>
void fields(A& a, E& edit) {
  a("id", edit.id);
  a("text", edit.text);
}

template <typename A, Is<ReplaceProposals> E>
void fields(A& a, E& edit) {
  stretch(a, edit);
  entries(a, edit);
  a("sets_facts", edit.sets_facts, false);
  a("key", edit.key, std::nullopt);
  a("swing_ratio", edit.swing_ratio, std::nullopt);
  a("a4_hz", edit.a4_hz, std::nullopt);
  a("beats_per_bar", edit.beats_per_bar, std::nullopt);
  a("form", edit.form, std::nullopt);
  a("voice", edit.voice, std::nullopt);
  a("analysis_version", edit.analysis_version, std::nullopt);
}

template <typename A, Is<Restore> E>
void fields(A& a, E& edit) {
  a("name", edit.name);
  a("drop_notes", edit.drop_notes, {});
  a("put_notes", edit.put_notes, {});
  a("drop_beats", edit.drop_beats, {});
  a("put_beats", edit.put_beats, {});
  a("drop_chords", edit.drop_chords, {});
  a("put_chords", edit.put_chords, {});
  a("drop_passages", edit.drop_passages, {});
  a("put_passages", edit.put_passages, {});
  a("drop_remarks", edit.drop_remarks, {});
  a("put_remarks", edit.put_remarks, {});
  a("gaps", edit.gaps, std::nullopt);
  a("stabs", edit.stabs, std::nullopt);
  a("facts", edit.facts, std::nullopt);
}

template <typename A, Is<EditGroup> E>
void fields(A& a, E& edit) {
  a("name", edit.name, {});
  a("edits", edit.edits);
}

}  // namespace detail

namespace {

using detail::Json;

/// In the order of the variant. Names in journals are for good.
constexpr std::array<std::string_view, std::variant_size_v<Edit>> edit_names{
    "add_note",        "remove_note",       "replace_note",  "split_note",
    "join_notes",      "add_gap",           "remove_gap",    "confirm",
    "confirm_stretch", "mark_doubtful",     "set_neck",      "set_fingering_options",
    "pin_position",    "set_articulation",  "set_fingering", "set_stabs",
    "add_beat",        "move_beat",         "remove_beat",   "replace_beats",
    "beat_one",        "set_meter",         "set_chord",     "remove_chord",
    "move_chord",      "set_tuning",        "set_key",       "set_title",
    "set_composer",    "set_form",          "set_recording", "add_passage",
    "replace_passage", "remove_passage",    "add_remark",    "replace_remark",
    "remove_remark",   "replace_proposals", "restore",       "group",
};

/// Reads the fields of the `index`-th kind of edit.
template <std::size_t... I>
bool read_kind(const Json& json, std::size_t index, Edit& edit, std::index_sequence<I...>) {
  bool is_good = false;
  const auto read = [&]<std::size_t Kind>() {
    if (Kind != index) return;
    detail::JsonReader reader(json);
    fields(reader, edit.emplace<Kind>());
    is_good = reader.is_good();
  };
  (read.template operator()<I>(), ...);
  return is_good;
}

}  // namespace

/// Straight to text: the step back from a change of a whole take holds every note of it.
static void append_json(std::string& out, const Edit& edit) {
  out += "{\"edit\": ";
  detail::append_text(out, std::string(edit_names.at(edit.index())));
  detail::TextWriter writer(out, detail::TextWriter::Layout::line, false);
  std::visit([&writer](const auto& one) { fields(writer, one); }, edit);
  out += '}';
}

static bool from_json(const Json& json, Edit& edit) {
  if (!json.is_object()) return false;
  const auto name = json.find("edit");
  if (name == json.end() || !name->is_string()) return false;
  const auto found =
      std::find(edit_names.begin(), edit_names.end(), name->get_ref<const std::string&>());
  if (found == edit_names.end()) return false;
  return read_kind(json, static_cast<std::size_t>(found - edit_names.begin()), edit,
                   std::make_index_sequence<std::variant_size_v<Edit>>());
}

std::string edit_to_json(const Edit& edit) {
  std::string text;
  append_json(text, edit);
  return text;
}

Result<Edit> edit_from_json(std::string_view text) {
  const auto json = detail::parse_json(text);
  Edit edit;
  if (!json || !from_json(*json, edit)) {
    return fail(ErrorCode::damaged, "An edit in the journal makes no sense.");
  }
  return edit;
}

}  // namespace lowstride::take
