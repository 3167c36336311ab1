#include "src/parts/voicings.hpp"

#include <algorithm>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "src/neck/named_necks.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::parts {
namespace {

dsp::ChordReading chord(const char* label) { return theory::parse_chord(label)->chord; }

/// "3x34": frets of bass and stab from the lowest string of a guitar down to the highest, x
/// between.
std::string frets(const Voicing& voicing) {
  std::string text(6, 'x');
  const auto put = [&text](const neck::Position& place) {
    text[static_cast<std::size_t>(6 - place.string_number)] = static_cast<char>('0' + place.fret);
  };
  if (voicing.bass) put(*voicing.bass);
  for (const neck::Position& place : voicing.positions) put(place);
  return text;
}

std::vector<std::string> shapes(const char* label, neck::Position bass, const StabWish& wish = {}) {
  std::vector<std::string> found;
  for (const Voicing& voicing :
       stab_voicings(*neck::find_neck("guitar"), chord(label), bass, wish, 12)) {
    found.push_back(frets(voicing));
  }
  return found;
}

bool has(const std::vector<std::string>& all, const std::string& one) {
  return std::ranges::count(all, one) > 0;
}

// Shells over the root on the sixth and fifth string as every jazz guitar method has them (common
// practice; from memory): G7 3x34xx, Gm7 3x33xx, Gmaj7 3x44xx, C7 x3x35x or x323xx.
TEST(StabVoicings, shells_are_those_of_the_methods) {
  const StabWish shell{.best_strings = 2, .is_shell = true};
  EXPECT_EQ(shapes("G7", {6, 3, 0}, shell).front(), "3x34xx");
  EXPECT_EQ(shapes("Gm7", {6, 3, 0}, shell).front(), "3x33xx");
  EXPECT_EQ(shapes("Gmaj7", {6, 3, 0}, shell).front(), "3x44xx");
  EXPECT_TRUE(has(shapes("C7", {5, 3, 0}, shell), "x323xx"));
}

TEST(StabVoicings, open_shapes_and_barres_are_among_them) {
  const StabWish strum{.most_strings = 4, .best_strings = 4};
  EXPECT_TRUE(has(shapes("C", {5, 3, 0}, strum), "x32010"));
  EXPECT_TRUE(has(shapes("E", {6, 0, 0}, strum), "0x2100"));
  const auto f =
      stab_voicings(*neck::find_neck("guitar"), chord("F"), neck::Position{6, 1, 0}, strum, 24);
  const auto barre =
      std::ranges::find_if(f, [](const Voicing& voicing) { return frets(voicing) == "1x3211"; });
  ASSERT_NE(barre, f.end());
  EXPECT_EQ(barre->bass->finger, 1);
  EXPECT_EQ(barre->positions.back().finger, 1);
}

TEST(StabVoicings, say_the_chord_and_lie_above_the_bass) {
  for (const neck::Neck& neck : neck::named_necks()) {
    if (neck.string_count() < 6 || neck.name == "bass6") continue;
    for (int root = 0; root < 12; ++root) {
      for (std::size_t quality = 0; quality < dsp::chord_quality_count; ++quality) {
        const dsp::ChordReading reading{root, static_cast<dsp::ChordQuality>(quality), root};
        const int lowest = neck::sounding_midi(neck, neck.string_count(), 0);
        const neck::Position bass{neck.string_count(), (root - lowest % 12 + 12) % 12, 0};
        const auto found = stab_voicings(neck, reading, bass, {}, 8);
        SCOPED_TRACE(neck.name + " " + theory::chart_label(reading));
        ASSERT_FALSE(found.empty());
        double before = 0.0;
        for (const Voicing& voicing : found) {
          EXPECT_GE(voicing.cost, before);
          before = voicing.cost;
          unsigned tones = 0;
          std::set<int> strings{bass.string_number};
          for (const neck::Position& place : voicing.positions) {
            const int midi = neck::sounding_midi(neck, place.string_number, place.fret);
            EXPECT_GT(midi, lowest + bass.fret);
            EXPECT_TRUE(strings.insert(place.string_number).second);
            tones |= 1U << static_cast<unsigned>(midi % 12);
          }
          const unsigned own = dsp::chord_tone_mask(reading.quality);
          const auto plays = [&](int above) {
            return ((tones >> static_cast<unsigned>((root + above) % 12)) & 1U) != 0U;
          };
          EXPECT_EQ(tones & ~theory::chord_pitch_classes(reading), 0U);
          EXPECT_TRUE(plays((own & 8U) != 0U ? 3 : (own & 16U) != 0U ? 4 : 5)) << frets(voicing);
          for (const int seventh : {10, 11}) {
            if (((own >> static_cast<unsigned>(seventh)) & 1U) != 0U) {
              EXPECT_TRUE(plays(seventh)) << frets(voicing);
            }
          }
        }
      }
    }
  }
}

TEST(StabVoicings, of_no_chord_are_none) {
  EXPECT_TRUE(stab_voicings(*neck::find_neck("guitar"), {}, std::nullopt, {}, 8).empty());
}

}  // namespace
}  // namespace lowstride::parts
