#include "src/theory/scale.hpp"

#include <initializer_list>

#include <gtest/gtest.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::theory {
namespace {

unsigned notes(std::initializer_list<const char*> names) {
  unsigned mask = 0;
  for (std::string_view name : names) {
    mask |= 1U << static_cast<unsigned>(pitch_class(*take_pitch_name(name)));
  }
  return mask;
}

// Scales as any theory primer has them (common practice).
TEST(Scale, holds_the_notes_of_the_primer) {
  EXPECT_EQ(scale_pitch_classes({0, ScaleKind::major}), notes({"C", "D", "E", "F", "G", "A", "B"}));
  EXPECT_EQ(scale_pitch_classes({9, ScaleKind::natural_minor}),
            notes({"A", "B", "C", "D", "E", "F", "G"}));
  EXPECT_EQ(scale_pitch_classes({9, ScaleKind::harmonic_minor}),
            notes({"A", "B", "C", "D", "E", "F", "G#"}));
  EXPECT_EQ(scale_pitch_classes({2, ScaleKind::dorian}),
            notes({"D", "E", "F", "G", "A", "B", "C"}));
  EXPECT_EQ(scale_pitch_classes({7, ScaleKind::mixolydian}),
            notes({"G", "A", "B", "C", "D", "E", "F"}));
  EXPECT_EQ(scale_pitch_classes({3, ScaleKind::major}),
            notes({"Eb", "F", "G", "Ab", "Bb", "C", "D"}));
}

TEST(Scale, chord_tones_take_the_place_of_their_neighbours) {
  const auto over = [](const char* chord, const char* key) {
    return scale_over_chord(parse_chord(chord)->chord, *parse_key(key));
  };
  EXPECT_EQ(over("D7", "C"), notes({"C", "D", "E", "F#", "G", "A", "B"}));
  EXPECT_EQ(over("C7", "C"), notes({"C", "D", "E", "F", "G", "A", "Bb"}));
  EXPECT_EQ(over("E7", "Am"), notes({"A", "B", "C", "D", "E", "F", "G#"}));
  EXPECT_EQ(over("Dm7", "C"), notes({"C", "D", "E", "F", "G", "A", "B"}));
  EXPECT_EQ(over("N", "Am"), notes({"A", "B", "C", "D", "E", "F", "F#", "G", "G#"}));
}

}  // namespace
}  // namespace lowstride::theory
