#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::theory {

/// What a bass note does against its chord and the next one.
enum class Role : std::uint8_t {
  root,
  third,
  fifth,
  sixth,
  seventh,
  scale_passing_note,
  chromatic_passing_note,
  approach_from_below,  // by a half step
  approach_from_above,  // by a half step
  enclosure,            // one of two notes around the one that follows them
  octave,
  repeated,
  pedal,
  dead_note,
};

[[nodiscard]] std::string_view role_text(Role role) noexcept;

/// A note of a line with the chord that it sounds under.
struct RoleNote {
  int midi = 0;
  bool is_dead = false;
  dsp::ChordReading chord;    // no root: no chord is known here
  bool begins_chord = false;  // the first note under its chord
  bool is_downbeat = false;   // on the first beat of a bar
};

struct NoteRole {
  Role role = Role::root;
  std::string reason;  // "half step below Eb, the root of Eb7"

  bool operator==(const NoteRole&) const = default;
};

/// The role of every note, one each, nothing where no chord is known and the note is neither dead
/// nor repeats the one before it. Rules in this order, all common practice: dead notes; a pedal is
/// one pitch class held or struck three times or more while the chord changes under it; a pitch
/// struck again is repeated, and for those before and after it as if struck once; in another octave
/// it is an octave; two notes around a chord tone that begins
/// a chord or bar, a half step off on one side at least and not both in the chord, enclose it;
/// tones of the chord (a slash chord's bass counts as its root; a major sixth over any third, a
/// seventh of the scale over a triad); a half step to a chord tone that begins a chord or bar, or
/// that is reached by a leap from elsewhere, approaches it; what is left passes, within the scale
/// in force or outside it, and its reason says between what, or which degree over the chord it is
/// where it comes or goes by a leap. Without a key the scale in force is that of the chord's own
/// major, mixolydian or dorian.
[[nodiscard]] std::vector<std::optional<NoteRole>> line_roles(
    std::span<const RoleNote> line, const std::optional<Key>& key = std::nullopt);

}  // namespace lowstride::theory
