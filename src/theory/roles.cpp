#include "src/theory/roles.hpp"

#include <array>
#include <cstdlib>

#include <fmt/format.h>

#include "src/theory/chord_label.hpp"
#include "src/theory/scale.hpp"

namespace lowstride::theory {
namespace {

using dsp::ChordQuality;
using dsp::ChordReading;

constexpr std::size_t shortest_pedal = 3;

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

bool holds(unsigned mask, int midi) noexcept {
  return ((mask >> static_cast<unsigned>(modulo12(midi))) & 1U) != 0U;
}

/// A tone of the chord by its degree, or a sixth or seventh that the chord leaves open.
std::optional<Role> chord_tone(int midi, const ChordReading& chord, unsigned scale) noexcept {
  if (!chord.root_pc) return std::nullopt;
  const int above_root = modulo12(midi - *chord.root_pc);
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  const bool is_tone = ((tones >> static_cast<unsigned>(above_root)) & 1U) != 0U;
  const bool has_seventh = (tones & ((1U << 10U) | (1U << 11U))) != 0U ||
                           chord.quality == ChordQuality::diminished_seventh;
  switch (above_root) {
    case 0:
      return Role::root;
    case 3:
    case 4:
    case 5:
      if (is_tone) return Role::third;
      break;
    case 6:
    case 7:
    case 8:
      if (is_tone) return Role::fifth;
      break;
    case 9:
      if (chord.quality == ChordQuality::diminished_seventh) return Role::seventh;
      if (is_tone || ((tones & (1U << 7U)) != 0U && holds(scale, midi))) return Role::sixth;
      break;
    case 10:
    case 11:
      if (is_tone || (!has_seventh && (holds(scale, midi) || above_root == 10))) {
        return Role::seventh;
      }
      break;
    default:
      break;
  }
  if (modulo12(midi) == modulo12(chord.bass_pc)) return Role::root;
  return std::nullopt;
}

/// "the fourth over C7": by letters, as the chord and the note are spelled.
std::string degree_text(const PitchName& note, const PitchName& root) {
  constexpr std::array<std::string_view, 7> ordinals{"root",  "ninth", "third",  "fourth",
                                                     "fifth", "sixth", "seventh"};
  constexpr std::array<int, 7> major{0, 2, 4, 5, 7, 9, 11};
  const auto step = static_cast<std::size_t>((note.step - root.step + 7) % 7);
  const int semitones = modulo12(pitch_class(note) - pitch_class(root));
  const int shift = modulo12(semitones - major[step] + 6) - 6;
  const bool has_minor = step == 2 || step == 6;
  std::string text = shift == 0               ? ""
                     : shift < 0 && has_minor ? "minor "
                     : shift < 0              ? "flat "
                                              : "sharp ";
  return text + std::string(ordinals[step]);
}

class Line {
 public:
  Line(std::span<const RoleNote> notes, const std::optional<Key>& key)
      : key_(key), note_count_(notes.size()) {
    for (std::size_t i = 0; i < notes.size(); ++i) {
      if (notes[i].is_dead) {
        dead_.push_back(i);
        continue;
      }
      indices_.push_back(i);
      sounding_.push_back(notes[i]);
      if (i > 0 && notes[i - 1].is_dead && sounding_.size() > 1) inherit_change(notes, i);
    }
    mark_pedals();
    gather();
  }

  [[nodiscard]] std::vector<std::optional<NoteRole>> roles() const {
    std::vector<std::optional<NoteRole>> all(note_count_);
    for (const std::size_t i : dead_) all[i] = NoteRole{Role::dead_note, "a muted stroke"};
    for (std::size_t i = 0; i < sounding_.size(); ++i) {
      const std::size_t tone = tone_of_[i];
      const bool is_first = i == 0 || tone_of_[i - 1] != tone;
      if (is_pedal_[i]) {
        all[indices_[i]] = NoteRole{Role::pedal, "the same note under changing chords"};
      } else if (!is_first) {
        all[indices_[i]] = NoteRole{Role::repeated, "the note before it again"};
      } else {
        all[indices_[i]] = role(tone);
      }
    }
    return all;
  }

 private:
  /// A note of the line as it goes on: struck once or several times under one chord.
  [[nodiscard]] const RoleNote& note(std::size_t i) const { return tones_[i].note; }
  [[nodiscard]] PitchName spelled(std::size_t i) const {
    return spell_over_chord(note(i).midi, note(i).chord, key_);
  }
  [[nodiscard]] std::string name(std::size_t i) const { return to_text(spelled(i)); }
  [[nodiscard]] std::string chord_name(std::size_t i) const {
    return chart_label(note(i).chord, key_);
  }

  /// A chord that a dead stroke began is begun by the first note that sounds under it.
  void inherit_change(std::span<const RoleNote> notes, std::size_t i) {
    for (std::size_t j = i; j-- > 0 && notes[j].is_dead;) {
      sounding_.back().begins_chord = sounding_.back().begins_chord || notes[j].begins_chord;
    }
  }

  void mark_pedals() {
    is_pedal_.assign(sounding_.size(), false);
    for (std::size_t begin = 0; begin < sounding_.size();) {
      std::size_t end = begin + 1;
      bool has_change = false;
      while (end < sounding_.size() && modulo12(sounding_[end].midi - sounding_[begin].midi) == 0) {
        has_change = has_change || sounding_[end].chord != sounding_[begin].chord;
        ++end;
      }
      if (has_change && end - begin >= shortest_pedal) {
        for (std::size_t i = begin; i < end; ++i) is_pedal_[i] = true;
      }
      begin = end;
    }
  }

  void gather() {
    for (const RoleNote& struck : sounding_) {
      const bool is_again = !tones_.empty() && tones_.back().note.midi == struck.midi &&
                            tones_.back().note.chord == struck.chord;
      if (!is_again) {
        const unsigned scale = scale_in_force(struck.chord, key_);
        tones_.push_back({struck, scale, chord_tone(struck.midi, struck.chord, scale)});
      }
      tone_of_.push_back(tones_.size() - 1);
    }
  }

  /// A place that a line aims at: a chord tone that begins a chord or a bar.
  [[nodiscard]] bool is_target(std::size_t i) const {
    return i < tones_.size() && tones_[i].degree.has_value() &&
           (note(i).begins_chord || note(i).is_downbeat);
  }

  [[nodiscard]] bool encloses(std::size_t first) const {
    if (first + 2 >= tones_.size() || !is_target(first + 2)) return false;
    const int target = note(first + 2).midi;
    const int a = note(first).midi - target;
    const int b = note(first + 1).midi - target;
    const bool is_around = a * b < 0 && std::abs(a) <= 2 && std::abs(b) <= 2;
    const bool is_close = std::abs(a) == 1 || std::abs(b) == 1;
    return is_around && is_close &&
           !(tones_[first].degree.has_value() && tones_[first + 1].degree.has_value());
  }

  [[nodiscard]] std::string target_text(std::size_t i) const {
    return fmt::format("{}, the {} of {}", name(i), role_text(*tones_[i].degree), chord_name(i));
  }

  [[nodiscard]] std::optional<NoteRole> role(std::size_t i) const {
    const RoleNote& here = note(i);
    if (i > 0 && here.chord == note(i - 1).chord && (here.midi - note(i - 1).midi) % 12 == 0) {
      return NoteRole{Role::octave, "the note before it in another octave"};
    }
    if (!here.chord.root_pc) return std::nullopt;
    if (encloses(i)) return enclosing_role(i, "next one", i + 2);
    if (i > 0 && encloses(i - 1)) return enclosing_role(i, "one before it", i + 1);
    if (tones_[i].degree) return tone_role(i);
    return passing_role(i);
  }

  [[nodiscard]] NoteRole enclosing_role(std::size_t i, std::string_view other,
                                        std::size_t target) const {
    std::string reason = fmt::format("with the {} around {}", other, target_text(target));
    if (tones_[i].degree) reason += "; here " + degree_reason(i);
    return {Role::enclosure, std::move(reason)};
  }

  [[nodiscard]] std::string degree_reason(std::size_t i) const {
    const Role degree = *tones_[i].degree;
    const bool is_slash_bass =
        degree == Role::root && modulo12(note(i).midi) != *note(i).chord.root_pc;
    return is_slash_bass ? "the bass of " + chord_name(i)
                         : fmt::format("the {} of {}", role_text(degree), chord_name(i));
  }

  [[nodiscard]] NoteRole tone_role(std::size_t i) const {
    NoteRole found{*tones_[i].degree, degree_reason(i)};
    if (is_target(i + 1) && note(i + 1).begins_chord) {
      const int step = note(i + 1).midi - note(i).midi;
      if (std::abs(step) == 1) {
        found.reason += fmt::format(", and a half step {} {}", step > 0 ? "below" : "above",
                                    target_text(i + 1));
      }
    }
    return found;
  }

  [[nodiscard]] NoteRole passing_role(std::size_t i) const {
    const bool is_in_scale = holds(tones_[i].scale, note(i).midi);
    const bool has_next = i + 1 < tones_.size();
    const int step = has_next ? note(i + 1).midi - note(i).midi : 0;
    const int from = i > 0 ? note(i).midi - note(i - 1).midi : 0;
    const bool passes_by = from != 0 && std::abs(from) <= 2 && step != 0 && std::abs(step) <= 2 &&
                           (from > 0) == (step > 0);
    const bool is_half_step_to_tone = std::abs(step) == 1 && tones_[i + 1].degree.has_value();
    if (is_half_step_to_tone && (is_target(i + 1) || !passes_by)) {
      return {step > 0 ? Role::approach_from_below : Role::approach_from_above,
              fmt::format("half step {} {}", step > 0 ? "below" : "above", target_text(i + 1))};
    }
    const Role role = is_in_scale ? Role::scale_passing_note : Role::chromatic_passing_note;
    std::string where = is_in_scale ? "in the scale" : "outside the scale";
    where += key_ ? " of " + key_text(*key_) + " over " + chord_name(i) : " of " + chord_name(i);
    if (passes_by) {
      return {role, fmt::format("between {} and {}, {}", name(i - 1), name(i + 1), where)};
    }
    const PitchName root = spell_over_chord(*note(i).chord.root_pc, note(i).chord, key_);
    return {role, fmt::format("the {}, {}", degree_text(spelled(i), root), where)};
  }

  struct Tone {
    RoleNote note;
    unsigned scale = 0;          // pitch classes in force
    std::optional<Role> degree;  // of its chord; nothing for a note outside it
  };

  std::optional<Key> key_;
  std::size_t note_count_;
  std::vector<std::size_t> dead_;     // indices into the line
  std::vector<std::size_t> indices_;  // of the sounding notes
  std::vector<RoleNote> sounding_;
  std::vector<bool> is_pedal_;        // [sounding]
  std::vector<std::size_t> tone_of_;  // [sounding] index into the tones
  std::vector<Tone> tones_;
};

}  // namespace

std::string_view role_text(Role role) noexcept {
  constexpr std::array<std::string_view, 14> texts{"root",
                                                   "third",
                                                   "fifth",
                                                   "sixth",
                                                   "seventh",
                                                   "scale passing note",
                                                   "chromatic passing note",
                                                   "approach from below",
                                                   "approach from above",
                                                   "enclosure",
                                                   "octave",
                                                   "repeated",
                                                   "pedal",
                                                   "dead note"};
  return texts[static_cast<std::size_t>(role)];
}

std::vector<std::optional<NoteRole>> line_roles(std::span<const RoleNote> line,
                                                const std::optional<Key>& key) {
  return Line(line, key).roles();
}

}  // namespace lowstride::theory
