#include "src/theory/roman.hpp"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::theory {
namespace {

std::string numeral(const char* chord, const char* key) {
  return roman_numeral(parse_chord(chord)->chord, *parse_key(key));
}

// Diatonic triads and sevenths of major: I ii iii IV V vi vii° and Imaj7 ii7 iii7 IVmaj7 V7 vi7
// viiø7 (Kostka & Payne, Tonal Harmony, chapter on diatonic chords; from memory).
TEST(RomanNumerals, of_the_diatonic_chords_of_major) {
  const std::vector<std::pair<const char*, const char*>> triads{
      {"Bb", "I"}, {"Cm", "ii"}, {"Dm", "iii"},     {"Eb", "IV"},
      {"F", "V"},  {"Gm", "vi"}, {"Adim", "viidim"}};
  for (const auto& [chord, expected] : triads) EXPECT_EQ(numeral(chord, "Bb"), expected);
  const std::vector<std::pair<const char*, const char*>> sevenths{
      {"Cmaj7", "Imaj7"}, {"Dm7", "ii7"}, {"Em7", "iii7"},    {"Fmaj7", "IVmaj7"},
      {"G7", "V7"},       {"Am7", "vi7"}, {"Bm7b5", "vii7b5"}};
  for (const auto& [chord, expected] : sevenths) EXPECT_EQ(numeral(chord, "C"), expected);
}

// Common practice in jazz charts: flats of the major scale in minor too, the diminished chord of a
// blues' sixth bar on the raised fourth, a tritone substitute on the lowered second.
TEST(RomanNumerals, of_blues_and_minor_as_charts_have_them) {
  EXPECT_EQ(numeral("G7", "G"), "I7");
  EXPECT_EQ(numeral("C7", "G"), "IV7");
  EXPECT_EQ(numeral("C#dim7", "G"), "#ivdim7");
  EXPECT_EQ(numeral("Cm7", "Cm"), "i7");
  EXPECT_EQ(numeral("Fm7", "Cm"), "iv7");
  EXPECT_EQ(numeral("Ab7", "Cm"), "bVI7");
  EXPECT_EQ(numeral("Ebmaj7", "Cm"), "bIIImaj7");
  EXPECT_EQ(numeral("Dm7b5", "Cm"), "ii7b5");
  EXPECT_EQ(numeral("Db7", "C"), "bII7");
  EXPECT_EQ(numeral("Bbm7", "C"), "bvii7");
  EXPECT_EQ(numeral("C7/E", "F"), "V7/3");
  EXPECT_EQ(numeral("C7/Bb", "F"), "V7/b7");
  EXPECT_EQ(numeral("Gsus4", "C"), "Vsus4");
  EXPECT_EQ(numeral("G+", "C"), "V+");
  EXPECT_EQ(numeral("N", "C"), "N.C.");
}

}  // namespace
}  // namespace lowstride::theory
