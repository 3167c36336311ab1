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
      scales_.push_back(scale_in_force(notes[i].chord, key));
      tones_.push_back(chord_tone(notes[i].midi, notes[i].chord, scales_.back()));
      if (i > 0 && notes[i - 1].is_dead && sounding_.size() > 1) inherit_change(notes, i);
    }
    mark_pedals();
  }

  [[nodiscard]] std::vector<std::optional<NoteRole>> roles() const {
    std::vector<std::optional<NoteRole>> all(note_count_);
    for (const std::size_t i : dead_) all[i] = NoteRole{Role::dead_note, "a muted stroke"};
    for (std::size_t i = 0; i < sounding_.size(); ++i) all[indices_[i]] = role(i);
    return all;
  }

 private:
  [[nodiscard]] const RoleNote& note(std::size_t i) const { return sounding_[i]; }
  [[nodiscard]] std::string name(std::size_t i) const {
    return to_text(spell_over_chord(note(i).midi, note(i).chord, key_));
  }
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
      while (end < sounding_.size() && modulo12(note(end).midi - note(begin).midi) == 0) {
        has_change = has_change || note(end).chord != note(begin).chord;
        ++end;
      }
      if (has_change && end - begin >= shortest_pedal) {
        for (std::size_t i = begin; i < end; ++i) is_pedal_[i] = true;
      }
      begin = end;
    }
  }

  /// A place that a line aims at: a chord tone that begins a chord or a bar.
  [[nodiscard]] bool is_target(std::size_t i) const {
    return i < sounding_.size() && tones_[i].has_value() &&
           (note(i).begins_chord || note(i).is_downbeat);
  }

  [[nodiscard]] bool encloses(std::size_t first) const {
    if (first + 2 >= sounding_.size() || !is_target(first + 2)) return false;
    const int target = note(first + 2).midi;
    const int a = note(first).midi - target;
    const int b = note(first + 1).midi - target;
    const bool is_around = a * b < 0 && std::abs(a) <= 2 && std::abs(b) <= 2;
    const bool is_close = std::abs(a) == 1 || std::abs(b) == 1;
    return is_around && is_close && !(tones_[first].has_value() && tones_[first + 1].has_value());
  }

  [[nodiscard]] std::string target_text(std::size_t i) const {
    return fmt::format("{}, the {} of {}", name(i), role_text(*tones_[i]), chord_name(i));
  }

  [[nodiscard]] std::optional<NoteRole> role(std::size_t i) const {
    const RoleNote& here = note(i);
    if (is_pedal_[i]) return NoteRole{Role::pedal, "the same note under changing chords"};
    if (i > 0 && here.chord == note(i - 1).chord) {
      const int moved = here.midi - note(i - 1).midi;
      if (moved == 0) return NoteRole{Role::repeated, "the note before it again"};
      if (moved % 12 == 0) return NoteRole{Role::octave, "the note before it in another octave"};
    }
    if (!here.chord.root_pc) return std::nullopt;
    if (encloses(i)) {
      return NoteRole{Role::enclosure, "with the next note around " + target_text(i + 2)};
    }
    if (i > 0 && encloses(i - 1)) {
      return NoteRole{Role::enclosure, "with the note before it around " + target_text(i + 1)};
    }
    if (tones_[i]) return tone_role(i);
    return passing_role(i);
  }

  [[nodiscard]] NoteRole tone_role(std::size_t i) const {
    const Role tone = *tones_[i];
    const bool is_slash_bass =
        tone == Role::root && modulo12(note(i).midi) != *note(i).chord.root_pc;
    NoteRole found{tone, is_slash_bass
                             ? "the bass of " + chord_name(i)
                             : fmt::format("the {} of {}", role_text(tone), chord_name(i))};
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
    const bool is_in_scale = holds(scales_[i], note(i).midi);
    const bool has_next = i + 1 < sounding_.size();
    const int step = has_next ? note(i + 1).midi - note(i).midi : 0;
    const int from = i > 0 ? note(i).midi - note(i - 1).midi : 0;
    const bool passes_by = from != 0 && std::abs(from) <= 2 && step != 0 && std::abs(step) <= 2 &&
                           (from > 0) == (step > 0);
    const bool is_half_step_to_tone = std::abs(step) == 1 && tones_[i + 1].has_value();
    if (is_half_step_to_tone && (is_target(i + 1) || !passes_by)) {
      return {step > 0 ? Role::approach_from_below : Role::approach_from_above,
              fmt::format("half step {} {}", step > 0 ? "below" : "above", target_text(i + 1))};
    }
    const Role role = is_in_scale ? Role::scale_passing_note : Role::chromatic_passing_note;
    const std::string where = is_in_scale ? "in the scale" : "outside the scale";
    if (passes_by) {
      return {role, fmt::format("between {} and {}, {}", name(i - 1), name(i + 1), where)};
    }
    return {role, fmt::format("no tone of {}, {}", chord_name(i), where)};
  }

  std::optional<Key> key_;
  std::size_t note_count_;
  std::vector<std::size_t> dead_;     // indices into the line
  std::vector<std::size_t> indices_;  // of the sounding notes
  std::vector<RoleNote> sounding_;
  std::vector<unsigned> scales_;  // [sounding]
  std::vector<std::optional<Role>> tones_;
  std::vector<bool> is_pedal_;
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
