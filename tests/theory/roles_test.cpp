#include "src/theory/roles.hpp"

#include <string>

#include <gtest/gtest.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::theory {
namespace {

/// Notes "C2" under chords by "F7:" words, "|" for a bar line, "x" for a dead note.
std::vector<RoleNote> line(std::string_view text) {
  std::vector<RoleNote> notes;
  dsp::ChordReading chord;
  bool begins_chord = false;
  bool is_downbeat = true;
  while (!text.empty()) {
    const auto blank = std::min(text.find(' '), text.size());
    const std::string_view word = text.substr(0, blank);
    text.remove_prefix(std::min(text.size(), blank + 1));
    if (word == "|") {
      is_downbeat = true;
    } else if (word.ends_with(':')) {
      chord = parse_chord(word.substr(0, word.size() - 1))->chord;
      begins_chord = true;
    } else {
      const bool is_dead = word == "x";
      notes.push_back(
          {is_dead ? 30 : *parse_pitch(word), is_dead, chord, begins_chord, is_downbeat});
      begins_chord = false;
      is_downbeat = false;
    }
  }
  return notes;
}

std::string roles(std::string_view text, const char* key = nullptr) {
  std::string all;
  const auto found =
      line_roles(line(text), key == nullptr ? std::nullopt : std::optional(*parse_key(key)));
  for (const auto& role : found) {
    if (!all.empty()) all += ", ";
    all += role ? role_text(role->role) : "-";
  }
  return all;
}

// All by common practice: what a teacher writes under these notes.
TEST(Roles, chord_tones_by_their_degree) {
  EXPECT_EQ(roles("C7: C2 E2 G2 Bb2"), "root, third, fifth, seventh");
  EXPECT_EQ(roles("Cm7: C2 Eb2 G2 Bb2"), "root, third, fifth, seventh");
  EXPECT_EQ(roles("Bm7b5: B1 D2 F2 A2"), "root, third, fifth, seventh");
  EXPECT_EQ(roles("Bdim7: B1 D2 F2 Ab2"), "root, third, fifth, seventh");
  EXPECT_EQ(roles("F6: F1 A1 C2 D2"), "root, third, fifth, sixth");
  EXPECT_EQ(roles("D7sus4: D2 G2 A2 C3"), "root, third, fifth, seventh");
}

// A boogie line adds the sixth and, over the seventh chord, the flat seventh.
TEST(Roles, a_boogie_line_has_its_sixth_and_seventh) {
  EXPECT_EQ(roles("E7: E1 G#1 B1 C#2 | D2 C#2 B1 G#1", "E"),
            "root, third, fifth, sixth, seventh, sixth, fifth, third");
  EXPECT_EQ(roles("C: C2 E2 G2 A2 | Bb2 A2 G2 E2", "C"),
            "root, third, fifth, sixth, seventh, sixth, fifth, third");
}

TEST(Roles, passing_notes_in_the_scale_and_outside_it) {
  EXPECT_EQ(roles("C: C2 D2 E2 F2 | G2", "C"),
            "root, scale passing note, third, scale passing "
            "note, fifth");
  EXPECT_EQ(roles("C7: G2 Gb2 F2 E2", "C"),
            "fifth, chromatic passing note, scale passing note, third");
}

TEST(Roles, approaches_lead_by_a_half_step_into_the_change) {
  EXPECT_EQ(roles("C7: C2 E2 G2 Gb2 | F7: F2", "C"),
            "root, third, fifth, approach from above, root");
  EXPECT_EQ(roles("Gm7: G1 Bb1 A1 B1 | C7: C2", "F"),
            "root, third, scale passing note, approach from below, root");
  const auto found =
      line_roles(line("Bb7: Bb1 D2 F2 D2 | Bb1 D2 F2 E2 | Eb7: Eb2"), *parse_key("Bb"));
  EXPECT_EQ(found[7]->role, Role::approach_from_above);
  EXPECT_EQ(found[7]->reason, "half step above Eb, the root of Eb7");
}

TEST(Roles, a_chord_tone_that_leads_says_so) {
  const auto found = line_roles(line("C7: C2 D2 G1 E2 | F7: F2"), *parse_key("F"));
  EXPECT_EQ(found[3]->role, Role::third);
  EXPECT_EQ(found[3]->reason, "the third of C7, and a half step below F, the root of F7");
}

TEST(Roles, two_notes_around_a_target_enclose_it) {
  EXPECT_EQ(roles("G7: G1 B1 Db2 B1 | C: C2", "C"), "root, third, enclosure, enclosure, root");
  EXPECT_EQ(roles("Dm7: D2 F2 Ab2 F#2 | G7: G2", "C"), "root, third, enclosure, enclosure, root");
}

// A note struck twice is one step of the line: what it leads to stays what it leads to.
TEST(Roles, a_repeated_note_leads_as_one_struck_once) {
  EXPECT_EQ(roles("D7: F#2 D2 Ab2 Ab2 | Gm7: G2", "Gm"),
            "third, root, approach from above, repeated, root");
  EXPECT_EQ(roles("D7: D2 F#1 Ab1 Ab1 | Gm7: G1", "Gm"),
            "root, enclosure, enclosure, repeated, root");
}

TEST(Roles, a_chord_tone_that_encloses_keeps_its_degree_in_the_reason) {
  const auto found = line_roles(line("G7: G1 B1 F2 D#2 | C: E2"), *parse_key("C"));
  EXPECT_EQ(found[2]->role, Role::enclosure);
  EXPECT_EQ(found[2]->reason, "with the next one around E, the third of C; here the seventh of G7");
  EXPECT_EQ(found[3]->reason, "with the one before it around E, the third of C");
}

TEST(Roles, what_comes_by_a_leap_is_named_by_its_degree) {
  const auto reason = [](std::string_view text, std::size_t i, const char* key) {
    return line_roles(line(text), *parse_key(key))[i]->reason;
  };
  EXPECT_EQ(reason("Gm7: G1 C2 G1 D2", 1, "Gm"), "the fourth, in the scale of Gm over Gm7");
  EXPECT_EQ(reason("Bb7: D2 Db2 Bb1", 1, "Eb"),
            "the minor third, outside the scale of Eb over Bb7");
  EXPECT_EQ(reason("E7: E1 F#2 B1", 1, "A"), "the ninth, in the scale of A over E7");
  EXPECT_EQ(reason("C: C2 D2 E2", 1, "C"), "between C and E, in the scale of C over C");
}

TEST(Roles, repeated_octave_pedal_and_dead_notes) {
  EXPECT_EQ(roles("F7: F1 F1 F2 x C2"), "root, repeated, octave, dead note, fifth");
  EXPECT_EQ(roles("C: G1 G1 | Dm7: G1 G1 | G7: G1 B1"), "pedal, pedal, pedal, pedal, pedal, third");
  // The same root under two chords in a row is no pedal yet: root, then root.
  EXPECT_EQ(roles("Cmaj7: C2 | C7: C2 E2"), "root, root, third");
}

TEST(Roles, the_bass_of_a_slash_chord_is_its_root) {
  EXPECT_EQ(roles("F/G: G1 A1 C2"), "root, third, fifth");
  EXPECT_EQ(line_roles(line("F/G: G1"))[0]->reason, "the bass of F/G");
  EXPECT_EQ(roles("D7/F#: F#1 A1"), "third, fifth");
}

TEST(Roles, without_a_chord_only_what_needs_none) {
  EXPECT_EQ(roles("E1 E1 x G1"), "-, repeated, dead note, -");
  EXPECT_TRUE(line_roles({}).empty());
}

}  // namespace
}  // namespace lowstride::theory
