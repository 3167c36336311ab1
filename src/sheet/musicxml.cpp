#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <sstream>

#include <fmt/format.h>
#include <pugixml.hpp>

#include "src/base/atomic_file.hpp"
#include "src/neck/named_necks.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/musicxml_measure.hpp"
#include "src/sheet/remarks.hpp"
#include "src/sheet/rhythm_values.hpp"
#include "src/sheet/written_pitch.hpp"
#include "src/take/harmony.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::sheet {
namespace {

constexpr int general_midi_bass = 34;  // programs counted from one (General MIDI 1)
constexpr int general_midi_guitar = 27;

/// Kinds in the order of dsp::ChordQuality.
constexpr std::array<const char*, dsp::chord_quality_count> kinds{
    "major",         "minor",       "dominant",         "major-seventh",
    "minor-seventh", "major-minor", "half-diminished",  "diminished-seventh",
    "major-sixth",   "minor-sixth", "suspended-fourth", "suspended-fourth",
    "augmented",     "diminished"};

class ScoreWriter {
 public:
  ScoreWriter(const take::Take& take, const SheetLayout& layout)
      : take_(take),
        layout_(layout),
        key_(key_of(take)),
        is_bass_(is_bass_neck(take.neck)),
        pitches_(written_pitches(take, layout)),
        remarks_(remarks_in(take, layout)) {}

  [[nodiscard]] std::string write() {
    pugi::xml_document document;
    pugi::xml_node declaration = document.append_child(pugi::node_declaration);
    declaration.append_attribute("version") = "1.0";
    declaration.append_attribute("encoding") = "UTF-8";
    pugi::xml_node score = document.append_child("score-partwise");
    score.append_attribute("version") = "4.0";
    add_head(score);
    pugi::xml_node part = add(score, "part");
    part.append_attribute("id") = "P1";
    for (std::size_t i = 0; i < layout_.bars.size(); ++i) add_bar(part, i);
    std::ostringstream text;
    document.save(text, "  ", pugi::format_default, pugi::encoding_utf8);
    return text.str();
  }

 private:
  void add_head(pugi::xml_node score) const {
    if (!take_.title.empty()) add(add(score, "work"), "work-title", take_.title);
    pugi::xml_node identification = add(score, "identification");
    if (!take_.composer.empty()) {
      add(identification, "creator", take_.composer).append_attribute("type") = "composer";
    }
    add(add(identification, "encoding"), "software", std::string("Lowstride"));
    pugi::xml_node part = add(add(score, "part-list"), "score-part");
    part.append_attribute("id") = "P1";
    const std::string name = is_bass_ ? "Bass" : "Guitar";
    add(part, "part-name", name);
    add(add(part, "score-instrument"), "instrument-name", name);
    part.child("score-instrument").append_attribute("id") = "P1-I1";
    pugi::xml_node midi = add(part, "midi-instrument");
    midi.append_attribute("id") = "P1-I1";
    add(midi, "midi-channel", 1);
    add(midi, "midi-program", is_bass_ ? general_midi_bass : general_midi_guitar);
  }

  void add_bar(pugi::xml_node part, std::size_t index) {
    const SheetBar& bar = layout_.bars[index];
    pugi::xml_node measure = add(part, "measure");
    measure.append_attribute("number") = bar.number;
    if (bar.number <= 0) measure.append_attribute("implicit") = "yes";
    const bool begins_ending =
        bar.ending > 0 && (index == 0 || layout_.bars[index - 1].ending != bar.ending);
    if (bar.begins_repeat || begins_ending) {
      pugi::xml_node line = add(measure, "barline");
      line.append_attribute("location") = "left";
      if (begins_ending) add_ending(line, bar.ending, "start");
      if (bar.begins_repeat) {
        add(line, "repeat").append_attribute("direction") = "forward";
      }
    }
    add_attributes(measure, bar, index == 0);
    add_directions(measure, bar, index == 0);
    const MeasureWriter writer(measure, bar, pitches_[index]);
    std::size_t chord = 0;
    writer.write_line(StaffPart::notes, [&](const WrittenValue& value) {
      while (chord < bar.chords.size() &&
             bar.chords[chord].onset_tatums < value.onset_tatums + value.length_tatums) {
        add_harmony(measure, bar.chords[chord],
                    bar.chords[chord].onset_tatums - value.onset_tatums);
        ++chord;
      }
    });
    const auto go_back = [&] { add(add(measure, "backup"), "duration", bar.length_tatums()); };
    if (!bar.stabs.empty()) {
      go_back();
      writer.write_stabs(StaffPart::notes);
    }
    go_back();
    writer.write_line(StaffPart::tab, {});
    if (!bar.stabs.empty()) {
      go_back();
      writer.write_stabs(StaffPart::tab);
    }
    const bool is_last = index + 1 == layout_.bars.size();
    const bool ends_ending =
        bar.ending > 0 && (is_last || layout_.bars[index + 1].ending != bar.ending);
    if (!is_last && !ends_ending && bar.repeat_times == 0) return;
    pugi::xml_node line = add(measure, "barline");
    line.append_attribute("location") = "right";
    if (is_last || bar.repeat_times > 0) add(line, "bar-style", std::string("light-heavy"));
    if (ends_ending) add_ending(line, bar.ending, "stop");
    if (bar.repeat_times > 0) {
      pugi::xml_node repeat = add(line, "repeat");
      repeat.append_attribute("direction") = "backward";
      repeat.append_attribute("times") = bar.repeat_times;
    }
  }

  static void add_ending(pugi::xml_node line, int number, const char* type) {
    pugi::xml_node ending = add(line, "ending");
    ending.append_attribute("number") = number;
    ending.append_attribute("type") = type;
  }

  void add_attributes(pugi::xml_node measure, const SheetBar& bar, bool is_first) {
    // A pick-up is a short bar of the meter and changes nothing.
    const int beats = bar.number <= 0 ? take_.beats_per_bar : bar.beat_count;
    if (!is_first && beats == beats_in_force_) return;
    beats_in_force_ = beats;
    pugi::xml_node attributes = add(measure, "attributes");
    if (is_first) {
      add(attributes, "divisions", tatums_per_beat);
      pugi::xml_node key = add(attributes, "key");
      add(key, "fifths", key_ ? theory::key_signature(*key_) : 0);
      if (key_) add(key, "mode", std::string(key_->is_minor ? "minor" : "major"));
    }
    pugi::xml_node time = add(attributes, "time");
    add(time, "beats", beats);
    add(time, "beat-type", 4);
    if (!is_first) return;
    add(attributes, "staves", 2);
    pugi::xml_node clef = add(attributes, "clef");
    clef.append_attribute("number") = 1;
    add(clef, "sign", std::string(is_bass_ ? "F" : "G"));
    add(clef, "line", is_bass_ ? 4 : 2);
    pugi::xml_node tab = add(attributes, "clef");
    tab.append_attribute("number") = 2;
    add(tab, "sign", std::string("TAB"));
    add(tab, "line", 5);
    add_strings(attributes);
    pugi::xml_node transpose = add(attributes, "transpose");
    add(transpose, "chromatic", 0);
    add(transpose, "octave-change", -1);
  }

  /// Tab lines are numbered from the bottom up (MusicXML 4.0, staff-tuning).
  void add_strings(pugi::xml_node attributes) const {
    pugi::xml_node details = add(attributes, "staff-details");
    details.append_attribute("number") = 2;
    add(details, "staff-lines", take_.neck.string_count());
    for (int line = 1; line <= take_.neck.string_count(); ++line) {
      const int midi = take_.neck.open_midi[static_cast<std::size_t>(line - 1)];
      pugi::xml_node tuning = add(details, "staff-tuning");
      tuning.append_attribute("line") = line;
      const theory::PitchName name = theory::spell(midi);
      add_step(tuning, "tuning-step", "tuning-alter", name);
      add(tuning, "tuning-octave", theory::written_octave(midi, name));
    }
    if (take_.neck.capo > 0) add(details, "capo", take_.neck.capo);
  }

  void add_directions(pugi::xml_node measure, const SheetBar& bar, bool is_first) {
    const double seconds = static_cast<double>(bar.beat_samples.back() - bar.beat_samples.front()) /
                           static_cast<double>(take_.time_base_hz);
    const double bpm = std::round(600.0 * bar.beat_count / std::max(seconds, 1e-3)) / 10.0;
    if (is_first) {
      pugi::xml_node direction = add(measure, "direction");
      direction.append_attribute("placement") = "above";
      pugi::xml_node metronome = add(add(direction, "direction-type"), "metronome");
      add(metronome, "beat-unit", std::string("quarter"));
      add(metronome, "per-minute", fmt::format("{:.0f}", layout_.tempo_bpm.value_or(bpm)));
      add(direction, "staff", 1);
      pugi::xml_node sound = add(direction, "sound");
      sound.append_attribute("tempo") = fmt::format("{:.1f}", bpm).c_str();
      if (layout_.swing_ratio) add_swing(sound);
      if (layout_.swing_ratio) {
        add_words(measure, fmt::format("Swing {:.1f} : 1", *layout_.swing_ratio));
      }
      if (take_.octave_shift > 0) {
        add_words(measure, fmt::format("Written {} octave{} higher than in the recording",
                                       take_.octave_shift, take_.octave_shift == 1 ? "" : "s"));
      }
    } else if (std::abs(bpm - tempo_in_force_) > 0.005 * bpm) {
      add(measure, "sound").append_attribute("tempo") = fmt::format("{:.1f}", bpm).c_str();
    } else {
      return add_marks(measure, bar);
    }
    tempo_in_force_ = bpm;
    add_marks(measure, bar);
  }

  void add_swing(pugi::xml_node sound) const {
    pugi::xml_node swing = add(sound, "swing");
    const int tenths = static_cast<int>(std::lround(10.0 * *layout_.swing_ratio));
    const int common = std::gcd(tenths, 10);
    add(swing, "first", tenths / common);
    add(swing, "second", 10 / common);
    add(swing, "swing-type", std::string("eighth"));
  }

  static void add_words(pugi::xml_node measure, const std::string& words) {
    pugi::xml_node direction = add(measure, "direction");
    direction.append_attribute("placement") = "above";
    add(add(direction, "direction-type"), "words", words);
    add(direction, "staff", 1);
  }

  /// What stands over a bar: passages and remarks.
  void add_marks(pugi::xml_node measure, const SheetBar& bar) const {
    add_passages(measure, bar);
    for (const SheetRemark& remark : remarks_) {
      if (&layout_.bars[remark.bar_index] == &bar) add_words(measure, remark.text);
    }
  }

  void add_passages(pugi::xml_node measure, const SheetBar& bar) const {
    for (const take::Passage& passage : take_.passages) {
      if (!begins_in(passage, bar)) continue;
      pugi::xml_node direction = add(measure, "direction");
      direction.append_attribute("placement") = "above";
      add(add(direction, "direction-type"), "rehearsal", passage.name);
      add(direction, "staff", 1);
    }
  }

  void add_harmony(pugi::xml_node measure, const SheetChord& chord, int offset) const {
    const take::ChordSpan& span = take_.chords[chord.chord_index];
    pugi::xml_node harmony = add(measure, "harmony");
    pugi::xml_node root = add(harmony, "root");
    if (!span.chord.root_pc) {
      add(root, "root-step", std::string("C")).append_attribute("text") = "";
      add(harmony, "kind", std::string("none")).append_attribute("text") = "N.C.";
    } else {
      const theory::PitchName name = theory::spell(*span.chord.root_pc, key_);
      add_step(root, "root-step", "root-alter", name);
      const auto quality = static_cast<std::size_t>(span.chord.quality);
      add(harmony, "kind", std::string(kinds[quality])).append_attribute("text") =
          kind_text(chord.text).c_str();
      if (span.chord.bass_pc != *span.chord.root_pc) {
        add_step(add(harmony, "bass"), "bass-step", "bass-alter",
                 theory::spell_over_chord(span.chord.bass_pc, span.chord, key_));
      }
      if (span.chord.quality == dsp::ChordQuality::seventh_suspended_fourth) {
        pugi::xml_node degree = add(harmony, "degree");
        degree.append_attribute("print-object") = "no";
        add(degree, "degree-value", 7);
        add(degree, "degree-alter", -1);
        add(degree, "degree-type", std::string("add"));
      }
    }
    if (offset != 0) add(harmony, "offset", offset);
    add(harmony, "staff", 1);
  }

  /// The name without its root and bass: "m7b5".
  [[nodiscard]] static std::string kind_text(std::string_view name) {
    (void)theory::take_pitch_name(name);
    if (name.starts_with(':')) name.remove_prefix(1);
    const auto slash = name.rfind('/');
    if (slash != std::string_view::npos) {
      std::string_view bass = name.substr(slash + 1);
      if (theory::take_pitch_name(bass) && bass.empty()) name = name.substr(0, slash);
    }
    return std::string(name);
  }

  const take::Take& take_;
  const SheetLayout& layout_;
  std::optional<theory::Key> key_;
  bool is_bass_;
  std::vector<BarPitches> pitches_;  // of each bar
  std::vector<SheetRemark> remarks_;
  int beats_in_force_ = 0;
  double tempo_in_force_ = 0.0;
};

}  // namespace

Result<std::string> musicxml_file(const take::Take& take, const LayoutOptions& options) {
  const SheetLayout layout = lay_out(take, options);
  if (layout.bars.empty()) {
    return fail(ErrorCode::invalid_argument,
                layout.tempo_bpm
                    ? "There is nothing in the bars asked for; ask for bars that the take has."
                    : "The take has no beats, so it cannot be written in bars; say where they are "
                      "first, or export it as text or MIDI.");
  }
  return ScoreWriter(take, layout).write();
}

Result<void> export_musicxml(const take::Take& take, const std::filesystem::path& path,
                             const LayoutOptions& options) {
  const auto text = musicxml_file(take, options);
  if (!text) {
    return fail(text.error().code,
                fmt::format("Cannot write '{}': {}", path.string(), text.error().message));
  }
  return write_file_atomically(path, *text);
}

}  // namespace lowstride::sheet
