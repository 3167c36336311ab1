#include "src/notation/musicxml_part.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <map>
#include <set>
#include <string_view>

#include <pugixml.hpp>

#include "src/neck/named_necks.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::notation {
namespace {

int number_of(const pugi::xml_node& node, int least, int most, int otherwise) {
  if (!node) return otherwise;
  return std::clamp(node.text().as_int(otherwise), least, most);
}

std::optional<int> step_of(const pugi::xml_node& node) {
  constexpr std::string_view letters = "CDEFGAB";
  const std::string_view text = node.text().get();
  const auto place = text.size() == 1 ? letters.find(text) : std::string_view::npos;
  if (place == std::string_view::npos) return std::nullopt;
  return static_cast<int>(place);
}

/// A pitch of `step`, `alter` and `octave` elements; nothing where they make none.
std::optional<int> midi_of(const pugi::xml_node& pitch, const char* step, const char* alter,
                           const char* octave) {
  const auto letter = step_of(pitch.child(step));
  if (!letter || !pitch.child(octave)) return std::nullopt;
  const int altered = number_of(pitch.child(alter), -3, 3, 0);
  const int midi = 12 * (number_of(pitch.child(octave), -1, 10, 4) + 1) +
                   theory::pitch_class({*letter, 0}) + altered;
  return midi;
}

std::string name_of(const pugi::xml_node& node, const char* step, const char* alter) {
  const auto letter = step_of(node.child(step));
  if (!letter) return {};
  return theory::to_text({*letter, number_of(node.child(alter), -2, 2, 0)});
}

/// The ending that charts give to a kind of MusicXML 4.0 (kind-value).
std::string_view suffix_of(std::string_view kind) {
  static const std::map<std::string_view, std::string_view> suffixes{{"major", ""},
                                                                     {"minor", "m"},
                                                                     {"augmented", "aug"},
                                                                     {"diminished", "dim"},
                                                                     {"dominant", "7"},
                                                                     {"major-seventh", "maj7"},
                                                                     {"minor-seventh", "m7"},
                                                                     {"diminished-seventh", "dim7"},
                                                                     {"half-diminished", "m7b5"},
                                                                     {"major-minor", "mmaj7"},
                                                                     {"major-sixth", "6"},
                                                                     {"minor-sixth", "m6"},
                                                                     {"dominant-ninth", "9"},
                                                                     {"major-ninth", "maj9"},
                                                                     {"minor-ninth", "m9"},
                                                                     {"dominant-11th", "11"},
                                                                     {"dominant-13th", "13"},
                                                                     {"major-13th", "maj13"},
                                                                     {"minor-11th", "m11"},
                                                                     {"minor-13th", "m13"},
                                                                     {"suspended-fourth", "sus4"},
                                                                     {"power", "5"}};
  const auto suffix = suffixes.find(kind);
  return suffix == suffixes.end() ? "?" : suffix->second;
}

class PartReader {
 public:
  explicit PartReader(const pugi::xml_node& part) : part_(part) {}

  [[nodiscard]] XmlPart read() {
    for (const pugi::xml_node measure : part_.children("measure")) read_measure(measure);
    spread_endings();
    return std::move(made_);
  }

 private:
  void read_measure(const pugi::xml_node& node) {
    XmlMeasure& measure = made_.measures.emplace_back();
    measure.is_implicit = std::string_view(node.attribute("implicit").value()) == "yes";
    cursor_ = 0.0;
    last_onset_ = 0.0;
    for (const pugi::xml_node child : node.children()) {
      const std::string_view name = child.name();
      if (name == "attributes") {
        read_attributes(child);
      } else if (name == "note") {
        read_note(child, measure);
      } else if (name == "backup") {
        cursor_ = std::max(0.0, cursor_ - duration(child));
      } else if (name == "forward") {
        cursor_ += duration(child);
      } else if (name == "harmony") {
        read_harmony(child, measure);
      } else if (name == "direction") {
        read_direction(child, measure);
      } else if (name == "sound") {
        read_sound(child, measure, 0.0);
      } else if (name == "barline") {
        read_barline(child, measure);
      }
      measure.length = std::max(measure.length, cursor_);
    }
    measure.beats = beats_;
    measure.beat_type = beat_type_;
  }

  [[nodiscard]] double duration(const pugi::xml_node& node) const {
    const double value = node.child("duration").text().as_double(0.0);
    constexpr double most_quarters = 1000.0;
    if (!std::isfinite(value) || value < 0.0) return 0.0;
    return std::min(value / divisions_, most_quarters);
  }

  void read_attributes(const pugi::xml_node& node) {
    const double divisions = node.child("divisions").text().as_double(0.0);
    if (std::isfinite(divisions) && divisions > 0.0) divisions_ = divisions;
    if (const auto key = node.child("key"); key && !made_.key) read_key(key);
    if (const auto time = node.child("time"); time && time.child("beats")) {
      beats_ = number_of(time.child("beats"), 1, 64, 4);
      const int type = number_of(time.child("beat-type"), 1, 64, 4);
      beat_type_ = std::has_single_bit(static_cast<unsigned>(type)) ? type : 4;
    }
    for (const pugi::xml_node clef : node.children("clef")) {
      const int staff = clef.attribute("number").as_int(1);
      if (std::string_view(clef.child("sign").text().get()) == "TAB") tab_staves_.insert(staff);
    }
    if (const auto transpose = node.child("transpose")) {
      transposed_by_ = number_of(transpose.child("chromatic"), -36, 36, 0) +
                       12 * number_of(transpose.child("octave-change"), -4, 4, 0);
    }
    for (const pugi::xml_node details : node.children("staff-details")) read_strings(details);
  }

  void read_key(const pugi::xml_node& node) {
    if (!node.child("fifths")) return;
    const int fifths = number_of(node.child("fifths"), -7, 7, 0);
    const bool is_minor = std::string_view(node.child("mode").text().get()) == "minor";
    const int tonic = ((7 * fifths + (is_minor ? 9 : 0)) % 12 + 12) % 12;
    made_.key = take::Key{tonic, is_minor, take::State::confirmed, 1.0};
  }

  void read_strings(const pugi::xml_node& details) {
    std::map<int, int> strings;  // by line, from the bottom up
    for (const pugi::xml_node tuning : details.children("staff-tuning")) {
      const auto midi = midi_of(tuning, "tuning-step", "tuning-alter", "tuning-octave");
      if (midi && *midi >= 0) strings[tuning.attribute("line").as_int(0)] = *midi;
    }
    if (strings.empty()) return;
    neck::Neck neck;
    neck.open_midi.clear();
    for (const auto& [line, midi] : strings) neck.open_midi.push_back(midi);
    neck.name = "tab";
    neck.fret_count = 24;
    const auto named =
        std::ranges::find(neck::named_necks(), neck.open_midi, &neck::Neck::open_midi);
    if (named != neck::named_necks().end()) neck = *named;
    neck.capo = number_of(details.child("capo"), 0, 12, 0);
    if (neck::check(neck)) made_.neck = neck;
  }

  void read_note(const pugi::xml_node& node, XmlMeasure& measure) {
    if (node.child("grace")) {
      ++made_.grace_count;
      return;
    }
    const double length = duration(node);
    const bool is_with_last = static_cast<bool>(node.child("chord"));
    const double onset = is_with_last ? last_onset_ : cursor_;
    if (!is_with_last) {
      last_onset_ = cursor_;
      cursor_ += length;
    }
    if (node.child("rest") || node.child("cue")) return;
    const auto midi = midi_of(node.child("pitch"), "step", "alter", "octave");
    if (!midi || length <= 0.0) return;
    XmlNote note;
    note.onset = onset;
    note.length = length;
    note.midi = std::clamp(*midi + transposed_by_, 0, 127);
    note.is_dead = std::string_view(node.child("notehead").text().get()) == "x";
    note.voice = number_of(node.child("voice"), 1, 999, 1);
    note.is_on_tab = tab_staves_.contains(number_of(node.child("staff"), 1, 99, 1));
    for (const pugi::xml_node tie : node.children("tie")) {
      const std::string_view type = tie.attribute("type").value();
      note.is_tie_start = note.is_tie_start || type == "start";
      note.is_tie_stop = note.is_tie_stop || type == "stop";
    }
    for (const pugi::xml_node notations : node.children("notations")) {
      for (const pugi::xml_node technical : notations.children("technical")) {
        if (!technical.child("string") || !technical.child("fret")) continue;
        note.position = neck::Position{number_of(technical.child("string"), 1, 99, 1),
                                       number_of(technical.child("fret"), 0, 99, 0),
                                       number_of(technical.child("fingering"), 0, 4, 0)};
      }
    }
    measure.notes.push_back(note);
  }

  void read_harmony(const pugi::xml_node& node, XmlMeasure& measure) {
    XmlHarmony harmony;
    const double offset = node.child("offset").text().as_double(0.0) / divisions_;
    harmony.place = std::max(0.0, cursor_ + (std::isfinite(offset) ? offset : 0.0));
    const pugi::xml_node kind = node.child("kind");
    const std::string_view value = kind.text().get();
    const std::string root = name_of(node.child("root"), "root-step", "root-alter");
    if (value != "none") {
      if (root.empty()) {
        ++made_.unknown_chord_count;
        return;
      }
      std::string bass = name_of(node.child("bass"), "bass-step", "bass-alter");
      if (!bass.empty()) bass.insert(0, "/");
      // What is printed says most; else the kind.
      auto chord = theory::parse_chord(root + kind.attribute("text").value() + bass);
      const bool is_printed = kind.attribute("text") && chord;
      if (!is_printed) chord = theory::parse_chord(root + std::string(suffix_of(value)) + bass);
      if (!chord) {
        ++made_.unknown_chord_count;
        return;
      }
      harmony.chord = chord->chord;
      if (!chord->is_exact) {
        harmony.written =
            root + (is_printed ? kind.attribute("text").value() : std::string(suffix_of(value))) +
            bass;
      }
    }
    measure.harmonies.push_back(harmony);
  }

  void read_direction(const pugi::xml_node& node, XmlMeasure& measure) {
    bool has_tempo = false;
    for (const pugi::xml_node sound : node.children("sound")) {
      has_tempo = has_tempo || sound.attribute("tempo");
      read_sound(sound, measure, cursor_);
    }
    for (const pugi::xml_node type : node.children("direction-type")) {
      for (const pugi::xml_node mark : type.children("rehearsal")) {
        measure.rehearsals.emplace_back(mark.text().get());
      }
      const pugi::xml_node metronome = type.child("metronome");
      const double per_minute = metronome.child("per-minute").text().as_double(0.0);
      if (metronome && !has_tempo && std::isfinite(per_minute) && per_minute > 0.0) {
        const std::string_view unit = metronome.child("beat-unit").text().get();
        const double quarters = (unit == "half"     ? 2.0
                                 : unit == "eighth" ? 0.5
                                                    : 1.0) *
                                (metronome.child("beat-unit-dot") ? 1.5 : 1.0);
        add_tempo(measure, cursor_, per_minute * quarters);
      }
    }
  }

  void read_sound(const pugi::xml_node& sound, XmlMeasure& measure, double place) {
    if (sound.attribute("tempo")) add_tempo(measure, place, sound.attribute("tempo").as_double());
    for (const char* jump : {"dacapo", "dalsegno", "tocoda", "coda"}) {
      made_.has_jumps = made_.has_jumps || sound.attribute(jump);
    }
    const pugi::xml_node swing = sound.child("swing");
    const double first = swing.child("first").text().as_double(0.0);
    const double second = swing.child("second").text().as_double(0.0);
    if (swing && !made_.swing_ratio && second > 0.0 && first >= second && first / second <= 4.0) {
      made_.swing_ratio = first / second;
    }
  }

  static void add_tempo(XmlMeasure& measure, double place, double bpm) {
    constexpr double least_bpm = 10.0;
    constexpr double most_bpm = 1000.0;
    if (std::isfinite(bpm) && bpm >= least_bpm && bpm <= most_bpm) {
      measure.tempos.push_back({place, bpm});
    }
  }

  static void read_barline(const pugi::xml_node& node, XmlMeasure& measure) {
    const pugi::xml_node repeat = node.child("repeat");
    const std::string_view direction = repeat.attribute("direction").value();
    if (direction == "forward") measure.begins_repeat = true;
    if (direction == "backward") {
      measure.repeat_times = std::clamp(repeat.attribute("times").as_int(2), 1, 100);
    }
    const pugi::xml_node ending = node.child("ending");
    if (!ending) return;
    const std::string_view type = ending.attribute("type").value();
    if (type == "start") {
      int number = 0;
      for (const char letter : std::string_view(ending.attribute("number").value())) {
        if (letter >= '0' && letter <= '9') {
          number = std::min(10 * number + (letter - '0'), 100);
          continue;
        }
        if (number > 0) measure.endings.push_back(number);
        number = 0;
      }
      if (number > 0) measure.endings.push_back(number);
    } else {
      measure.ends_ending = true;
    }
  }

  /// An ending reaches from its start to its stop; a stretch is played as often as its endings say.
  void spread_endings() {
    std::vector<int> open;
    for (XmlMeasure& measure : made_.measures) {
      if (measure.endings.empty()) {
        measure.endings = open;
      } else {
        open = measure.endings;
      }
      for (const int pass : measure.endings) {
        if (measure.repeat_times > 0) {
          measure.repeat_times = std::max(measure.repeat_times, pass + 1);
        }
      }
      if (measure.ends_ending) open.clear();
    }
  }

  const pugi::xml_node& part_;
  XmlPart made_;
  double divisions_ = 1.0;
  double cursor_ = 0.0;
  double last_onset_ = 0.0;
  int beats_ = 4;
  int beat_type_ = 4;
  int transposed_by_ = 0;
  std::set<int> tab_staves_;
};

}  // namespace

XmlPart read_part(const pugi::xml_node& part) { return PartReader(part).read(); }

std::vector<std::size_t> played_order(const std::vector<XmlMeasure>& measures,
                                      std::size_t most_measures) {
  std::vector<std::size_t> order;
  std::size_t start = 0;
  int pass = 1;
  bool is_back = false;  // just returned to the start
  for (std::size_t i = 0; i < measures.size() && order.size() < most_measures;) {
    const XmlMeasure& measure = measures[i];
    if (measure.begins_repeat && !is_back && i != start) {
      start = i;
      pass = 1;
    }
    is_back = false;
    const bool is_played = measure.endings.empty() ||
                           std::ranges::find(measure.endings, pass) != measure.endings.end();
    if (!is_played) {
      ++i;
      continue;
    }
    order.push_back(i);
    if (measure.repeat_times > pass) {
      ++pass;
      i = start;
      is_back = true;
      continue;
    }
    if (measure.repeat_times > 0 || (measure.ends_ending && measure.repeat_times == 0)) {
      pass = 1;
      start = i + 1;
    }
    ++i;
  }
  return order;
}

}  // namespace lowstride::notation
