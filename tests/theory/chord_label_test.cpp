#include "src/theory/chord_label.hpp"

#include <random>

#include <gtest/gtest.h>

namespace lowstride::theory {
namespace {

using dsp::ChordQuality;
using dsp::ChordReading;

ChordReading chord(int root, ChordQuality quality) { return {root, quality, root}; }

void expect_chord(const char* text, const ChordReading& expected, bool is_exact = true) {
  const auto parsed = parse_chord(text);
  ASSERT_TRUE(parsed) << text;
  EXPECT_EQ(parsed->chord, expected) << text << " read as " << harte_label(parsed->chord);
  EXPECT_EQ(parsed->is_exact, is_exact) << text;
}

// Shorthands and their components: Harte, Sandler, Abdallah & Gómez, ISMIR 2005, table 1. Each is
// read once by its shorthand and once by the list of its degrees.
TEST(ChordLabel, published_shorthands_mean_their_published_degrees) {
  struct Row {
    const char* shorthand;
    const char* degrees;
    ChordQuality quality;
  };
  for (const Row& row :
       {Row{"maj", "1,3,5", ChordQuality::major}, Row{"min", "1,b3,5", ChordQuality::minor},
        Row{"dim", "1,b3,b5", ChordQuality::diminished},
        Row{"aug", "1,3,#5", ChordQuality::augmented},
        Row{"maj7", "1,3,5,7", ChordQuality::major_seventh},
        Row{"min7", "1,b3,5,b7", ChordQuality::minor_seventh},
        Row{"7", "1,3,5,b7", ChordQuality::dominant_seventh},
        Row{"dim7", "1,b3,b5,bb7", ChordQuality::diminished_seventh},
        Row{"hdim7", "1,b3,b5,b7", ChordQuality::half_diminished_seventh},
        Row{"minmaj7", "1,b3,5,7", ChordQuality::minor_major_seventh},
        Row{"maj6", "1,3,5,6", ChordQuality::major_sixth},
        Row{"min6", "1,b3,5,6", ChordQuality::minor_sixth},
        Row{"sus4", "1,4,5", ChordQuality::suspended_fourth},
        Row{"sus4(b7)", "1,4,5,b7", ChordQuality::seventh_suspended_fourth}}) {
    expect_chord((std::string("Eb:") + row.shorthand).c_str(), chord(3, row.quality));
    expect_chord((std::string("Eb:(") + row.degrees + ")").c_str(), chord(3, row.quality));
    EXPECT_EQ(harte_label(chord(3, row.quality)), std::string("Eb:") + row.shorthand);
  }
}

TEST(ChordLabel, published_bass_is_a_degree) {
  expect_chord("C:7/3", {0, ChordQuality::dominant_seventh, 4});
  expect_chord("A:min/b3", {9, ChordQuality::minor, 0});
  expect_chord("F/5", {5, ChordQuality::major, 0});
  expect_chord("N", {});
  EXPECT_EQ(harte_label({0, ChordQuality::dominant_seventh, 4}), "C:7/3");
  EXPECT_EQ(harte_label({0, ChordQuality::minor_seventh, 10}), "C:min7/b7");
  EXPECT_EQ(harte_label({0, ChordQuality::augmented, 8}), "C:aug/#5");
  EXPECT_EQ(harte_label({0, ChordQuality::diminished_seventh, 9}), "C:dim7/bb7");
  EXPECT_EQ(harte_label({0, ChordQuality::major, 2}), "C:maj/2");
  EXPECT_EQ(harte_label({}), "N");
}

// Chart spellings: common practice.
TEST(ChordLabel, charts_are_read) {
  expect_chord("C", chord(0, ChordQuality::major));
  expect_chord("Bb7", chord(10, ChordQuality::dominant_seventh));
  expect_chord(
      "B\xE2\x99\xAD"
      "7",
      chord(10, ChordQuality::dominant_seventh));
  expect_chord("Cm7b5", chord(0, ChordQuality::half_diminished_seventh));
  expect_chord("C-7(b5)", chord(0, ChordQuality::half_diminished_seventh));
  expect_chord("C\xC3\xB8", chord(0, ChordQuality::half_diminished_seventh));
  expect_chord("F6/A", {5, ChordQuality::major_sixth, 9});
  expect_chord("Ebmaj7", chord(3, ChordQuality::major_seventh));
  expect_chord("EbM7", chord(3, ChordQuality::major_seventh));
  expect_chord("Eb\xCE\x94", chord(3, ChordQuality::major_seventh));
  expect_chord("F#m7b5", chord(6, ChordQuality::half_diminished_seventh));
  expect_chord("Gm", chord(7, ChordQuality::minor));
  expect_chord("G-", chord(7, ChordQuality::minor));
  expect_chord("Gmin6", chord(7, ChordQuality::minor_sixth));
  expect_chord("Gm(maj7)", chord(7, ChordQuality::minor_major_seventh));
  expect_chord("GmM7", chord(7, ChordQuality::minor_major_seventh));
  expect_chord(
      "B\xC2\xB0"
      "7",
      chord(11, ChordQuality::diminished_seventh));
  expect_chord("Bdim", chord(11, ChordQuality::diminished));
  expect_chord("Bo7", chord(11, ChordQuality::diminished_seventh));
  expect_chord("C+", chord(0, ChordQuality::augmented));
  expect_chord("Caug", chord(0, ChordQuality::augmented));
  expect_chord("Dsus4", chord(2, ChordQuality::suspended_fourth));
  expect_chord("D7sus4", chord(2, ChordQuality::seventh_suspended_fourth));
  expect_chord("D7sus", chord(2, ChordQuality::seventh_suspended_fourth));
  expect_chord("D7/F#", {2, ChordQuality::dominant_seventh, 6});
  expect_chord("Ab/Bb", {8, ChordQuality::major, 10});
  expect_chord("N.C.", {});
}

TEST(ChordLabel, what_says_more_is_reduced_and_says_so) {
  expect_chord("C13", chord(0, ChordQuality::dominant_seventh), false);
  expect_chord("G7b9", chord(7, ChordQuality::dominant_seventh), false);
  expect_chord("G7-9", chord(7, ChordQuality::dominant_seventh), false);
  expect_chord("G7alt", chord(7, ChordQuality::dominant_seventh), false);
  expect_chord("C7#5", chord(0, ChordQuality::dominant_seventh), false);
  expect_chord("Cmaj9", chord(0, ChordQuality::major_seventh), false);
  expect_chord("Dm9", chord(2, ChordQuality::minor_seventh), false);
  expect_chord("F6/9", chord(5, ChordQuality::major_sixth), false);
  expect_chord("F69", chord(5, ChordQuality::major_sixth), false);
  expect_chord("Cadd9", chord(0, ChordQuality::major), false);
  expect_chord("E5", chord(4, ChordQuality::major), false);
  expect_chord("C:9", chord(0, ChordQuality::dominant_seventh), false);
  expect_chord("C:min(9)", chord(0, ChordQuality::minor), false);
  expect_chord("C:7(*5)", chord(0, ChordQuality::dominant_seventh), false);
}

TEST(ChordLabel, what_is_no_chord_is_refused) {
  for (const char* text : {"", "H7", "c7", "Cfoo", "C7/H", "C:", "C:(", "C:min7(b9", "C::7", "C/14",
                           "7", "C99", "C:maj7/", "Cmaj7/"}) {
    const auto parsed = parse_chord(text);
    ASSERT_FALSE(parsed) << text;
    EXPECT_EQ(parsed.error().code, ErrorCode::invalid_argument);
  }
}

// Damaged labels are refused or read, and what is read can be written and read again.
TEST(ChordLabel, any_text_is_refused_or_understood) {
  constexpr unsigned seed = 12;
  std::mt19937 random(seed);
  constexpr std::string_view signs = "ABCDEFGHNmajinsudgl#b0123456789/():,*+-\xE2\x99\xAD\xC3 ";
  std::uniform_int_distribution<std::size_t> pick(0, signs.size() - 1);
  int understood = 0;
  for (int i = 0; i < 20000; ++i) {
    std::string text(1, "ABCDEFG"[static_cast<std::size_t>(i % 7)]);
    while (text.size() < 1U + static_cast<std::size_t>(i % 6)) text += signs[pick(random)];
    const auto parsed = parse_chord(text);
    if (!parsed) continue;
    ++understood;
    const auto again = parse_chord(harte_label(parsed->chord));
    ASSERT_TRUE(again) << text;
    EXPECT_EQ(again->chord, parsed->chord) << text << ", seed " << seed;
  }
  EXPECT_GT(understood, 3000);
}

TEST(ChordLabel, both_syntaxes_keep_every_chord_in_every_key) {
  for (int root = 0; root < 12; ++root) {
    for (std::size_t quality = 0; quality < dsp::chord_quality_count; ++quality) {
      for (int bass = 0; bass < 12; ++bass) {
        for (int tonic = 0; tonic < 12; ++tonic) {
          const ChordReading reading{root, static_cast<ChordQuality>(quality), bass};
          const Key key{tonic, tonic % 2 == 0};
          expect_chord(harte_label(reading, key).c_str(), reading);
          expect_chord(chart_label(reading, key).c_str(), reading);
        }
      }
    }
  }
}

// Thirds, fifths and sevenths are written on their letters (common practice): the seventh of Ab7 is
// G flat, the third of E7 G sharp.
TEST(ChordLabel, roots_are_written_as_players_read_them) {
  const Key g_sharp_minor{8, true};
  EXPECT_EQ(chart_label(chord(7, ChordQuality::diminished_seventh), g_sharp_minor).substr(0, 2),
            "Gd");  // not F double sharp
  EXPECT_EQ(chart_label(chord(0, ChordQuality::dominant_seventh), Key{6, false}), "C7");
  EXPECT_EQ(chart_label(chord(10, ChordQuality::dominant_seventh), Key{5, false}), "Bb7");
}

TEST(ChordLabel, tones_are_spelled_by_their_degree) {
  const auto over = [](int pc, const char* label) {
    return to_text(spell_over_chord(pc, parse_chord(label)->chord));
  };
  EXPECT_EQ(over(6, "Ab7"), "Gb");
  EXPECT_EQ(over(8, "E7"), "G#");
  EXPECT_EQ(over(3, "Cm"), "Eb");
  EXPECT_EQ(over(11, "Abm"), "Cb");
  EXPECT_EQ(over(10, "F#7"), "A#");
  EXPECT_EQ(chart_label({2, ChordQuality::dominant_seventh, 6}), "D7/F#");
  EXPECT_EQ(chart_label({3, ChordQuality::dominant_seventh, 1}), "Eb7/Db");
}

TEST(ChordLabel, tones_include_the_bass) {
  EXPECT_EQ(chord_pitch_classes(parse_chord("C")->chord), 0b0000'1001'0001U);
  EXPECT_EQ(chord_pitch_classes(parse_chord("C/D")->chord), 0b0000'1001'0101U);
  EXPECT_EQ(chord_pitch_classes(parse_chord("A")->chord), 0b0010'0001'0010U);  // A C# E
  EXPECT_EQ(chord_pitch_classes({}), 0U);
}

}  // namespace
}  // namespace lowstride::theory
