#include "src/sheet/musicxml_measure.hpp"

#include <array>

namespace lowstride::sheet {
namespace {

constexpr int line_voice = 1;
constexpr int stab_voice = 3;

const char* value_text(NoteValue value) {
  constexpr std::array<const char*, 6> texts{"whole", "half", "quarter", "eighth", "16th", "32nd"};
  return texts[static_cast<std::size_t>(value)];
}

const char* accidental_text(int alteration) {
  constexpr std::array<const char*, 5> signs{"flat-flat", "flat", "natural", "sharp",
                                             "double-sharp"};
  const int sign = alteration + 2;
  return signs[static_cast<std::size_t>(sign)];
}

/// One end of a joint: a slur (with what the hand does, on the tab) or a line between two heads.
void add_joint(pugi::xml_node notations, pugi::xml_node technical, Joint joint, const char* type) {
  const int number = technical ? 2 : 1;  // staff and tab must not take one for the other's end
  if (joint == Joint::slide) {
    pugi::xml_node slide = add(notations, "slide");
    slide.append_attribute("type") = type;
    slide.append_attribute("number") = number;
    slide.append_attribute("line-type") = "solid";
    return;
  }
  pugi::xml_node slur = add(notations, "slur");
  slur.append_attribute("type") = type;
  slur.append_attribute("number") = number;
  if (!technical) return;
  const bool is_hammer = joint == Joint::hammer_on;
  pugi::xml_node mark = add(technical, is_hammer ? "hammer-on" : "pull-off");
  mark.append_attribute("type") = type;
  mark.append_attribute("number") = number;
  if (std::string_view(type) == "start") mark.text().set(is_hammer ? "H" : "P");
}

}  // namespace

/// What a note element is made of.
struct MeasureWriter::Sound {
  const WrittenPitch& pitch;
  std::optional<neck::Position> position;
  bool is_dead = false;
  bool is_doubt = false;
  bool is_with_last = false;  // of a chord
  Joint joint = Joint::none;  // on the first piece and the last one alone
  Joint joint_to_next = Joint::none;
};

pugi::xml_node add(pugi::xml_node parent, const char* name) { return parent.append_child(name); }

pugi::xml_node add(pugi::xml_node parent, const char* name, const std::string& text) {
  pugi::xml_node node = parent.append_child(name);
  node.text().set(text.c_str());
  return node;
}

pugi::xml_node add(pugi::xml_node parent, const char* name, int number) {
  return add(parent, name, std::to_string(number));
}

void add_step(pugi::xml_node node, const char* step, const char* alter, theory::PitchName name) {
  add(node, step, theory::to_text({name.step, 0}));
  if (name.alteration != 0) add(node, alter, name.alteration);
}

MeasureWriter::MeasureWriter(pugi::xml_node measure, const SheetBar& bar, const BarPitches& pitches)
    : measure_(measure), bar_(bar), pitches_(pitches) {}

void MeasureWriter::write_line(StaffPart staff,
                               const std::function<void(const WrittenValue&)>& before) const {
  const int voice = line_voice + (staff == StaffPart::tab ? 1 : 0);
  for (const WrittenValue& value : written_values(bar_)) {
    if (before) before(value);
    const SheetNote* note = value.note ? &bar_.notes[*value.note] : nullptr;
    // The tab cannot show a note that the neck does not have.
    if (note == nullptr || (staff == StaffPart::tab && !note->position)) {
      write_note(value, nullptr, staff, voice);
      continue;
    }
    const bool is_first = value.onset_tatums == note->onset_tatums;
    const bool is_last =
        value.onset_tatums + value.length_tatums == note->onset_tatums + note->length_tatums;
    const Sound sound{pitches_.notes[*value.note],
                      note->position,
                      note->is_dead,
                      note->is_doubt,
                      false,
                      is_first ? note->joint : Joint::none,
                      is_last ? note->joint_to_next : Joint::none};
    write_note(value, &sound, staff, voice);
  }
}

void MeasureWriter::write_stabs(StaffPart staff) const {
  const int voice = stab_voice + (staff == StaffPart::tab ? 1 : 0);
  for (const WrittenValue& value : stab_values(bar_)) {
    if (!value.note) {
      write_note(value, nullptr, staff, voice);
      continue;
    }
    const SheetStab& stab = bar_.stabs[*value.note];
    for (std::size_t i = 0; i < stab.positions.size(); ++i) {
      const Sound sound{pitches_.stabs[*value.note][i], stab.positions[i], false, false, i > 0};
      write_note(value, &sound, staff, voice);
    }
  }
}

void MeasureWriter::write_note(const WrittenValue& value, const Sound* sound, StaffPart staff,
                               int voice) const {
  const bool is_staff = staff == StaffPart::notes;
  pugi::xml_node node = add(measure_, "note");
  const char* accidental = nullptr;
  if (sound != nullptr) {
    if (sound->is_with_last) add(node, "chord");
    pugi::xml_node pitch = add(node, "pitch");
    add_step(pitch, "step", "alter", sound->pitch.name);
    add(pitch, "octave", sound->pitch.octave);
    if (is_staff && sound->pitch.accidental && !value.is_tied_from_previous) {
      accidental = accidental_text(*sound->pitch.accidental);
    }
  } else {
    if (!is_staff) node.append_attribute("print-object") = "no";
    add(node, "rest");
  }
  add(node, "duration", value.length_tatums);
  if (sound != nullptr) {
    if (value.is_tied_from_previous) add(node, "tie").append_attribute("type") = "stop";
    if (value.is_tied_to_next) add(node, "tie").append_attribute("type") = "start";
  }
  add(node, "voice", voice);
  add(node, "type", std::string(value_text(value.value)));
  for (int i = 0; i < value.dot_count; ++i) add(node, "dot");
  if (accidental != nullptr) add(node, "accidental", std::string(accidental));
  if (value.is_triplet) {
    pugi::xml_node modification = add(node, "time-modification");
    add(modification, "actual-notes", 3);
    add(modification, "normal-notes", 2);
  }
  if (sound != nullptr) {
    if (!is_staff) {
      add(node, "stem", std::string("none"));
    } else if (!bar_.stabs.empty()) {
      // Two voices on one staff: the upper one's stems go up, the lower one's down.
      add(node, "stem", std::string(voice == line_voice ? "down" : "up"));
    }
    if (sound->is_dead) {
      add(node, "notehead", std::string("x"));
    } else if (sound->is_doubt && is_staff) {
      add(node, "notehead", std::string("normal")).append_attribute("parentheses") = "yes";
    }
  }
  add(node, "staff", static_cast<int>(staff));
  write_notations(node, value, sound, staff);
}

void MeasureWriter::write_notations(pugi::xml_node node, const WrittenValue& value,
                                    const Sound* sound, StaffPart staff) {
  const bool is_staff = staff == StaffPart::notes;
  const bool has_tie = sound != nullptr && (value.is_tied_from_previous || value.is_tied_to_next);
  const bool has_tuplet = is_staff && (value.begins_tuplet || value.ends_tuplet) &&
                          (sound == nullptr || !sound->is_with_last);
  const bool has_place = sound != nullptr && !is_staff && sound->position;
  const bool has_joint =
      sound != nullptr && (sound->joint != Joint::none || sound->joint_to_next != Joint::none);
  if (!has_tie && !has_tuplet && !has_place && !has_joint) return;
  pugi::xml_node notations = add(node, "notations");
  if (has_tie) {
    if (value.is_tied_from_previous) add(notations, "tied").append_attribute("type") = "stop";
    if (value.is_tied_to_next) add(notations, "tied").append_attribute("type") = "start";
  }
  if (has_tuplet) {
    if (value.begins_tuplet) add(notations, "tuplet").append_attribute("type") = "start";
    if (value.ends_tuplet) add(notations, "tuplet").append_attribute("type") = "stop";
  }
  pugi::xml_node technical;
  if (has_place) {
    technical = add(notations, "technical");
    if (sound->position->finger > 0) add(technical, "fingering", sound->position->finger);
    add(technical, "string", sound->position->string_number);
    add(technical, "fret", sound->position->fret);
  }
  if (!has_joint) return;
  if (sound->joint != Joint::none) add_joint(notations, technical, sound->joint, "stop");
  if (sound->joint_to_next != Joint::none) {
    add_joint(notations, technical, sound->joint_to_next, "start");
  }
}

}  // namespace lowstride::sheet
