#include "src/theory/pitch.hpp"

#include <array>
#include <cmath>

#include <gtest/gtest.h>

namespace lowstride::theory {
namespace {

// ISO 16:1975 sets A4 to 440 Hz. The others are the frequencies of twelve-tone equal temperament as
// handbook tables print them (three decimals).
TEST(Pitch, frequencies_are_those_of_the_handbook) {
  struct Row {
    int midi;
    double hz;
  };
  constexpr std::array<Row, 12> rows{Row{69, 440.0},   Row{28, 41.203},  Row{33, 55.0},
                                     Row{38, 73.416},  Row{43, 97.999},  Row{23, 30.868},
                                     Row{40, 82.407},  Row{45, 110.0},   Row{50, 146.832},
                                     Row{55, 195.998}, Row{59, 246.942}, Row{64, 329.628}};
  for (const Row& row : rows) {
    EXPECT_NEAR(frequency_hz(row.midi), row.hz, 0.0005) << row.midi;
    EXPECT_NEAR(pitch_midi(row.hz), row.midi, 0.0005) << row.hz;
  }
}

// 1200 log2(442 / 440) = 7.85 cents; 1200 log2(435 / 440) = -19.79 cents.
TEST(Pitch, another_tuning_moves_the_whole_grid) {
  EXPECT_NEAR(100.0 * (pitch_midi(frequency_hz(28, 442.0)) - 28.0), 7.85, 0.005);
  EXPECT_NEAR(100.0 * (pitch_midi(frequency_hz(28, 435.0)) - 28.0), -19.79, 0.005);
}

TEST(Pitch, is_read_as_people_type_it) {
  EXPECT_EQ(parse_pitch("E1"), 28);
  EXPECT_EQ(parse_pitch("Bb2"), 46);
  EXPECT_EQ(parse_pitch("bb2"), 46);
  EXPECT_EQ(parse_pitch("b2"), 47);
  EXPECT_EQ(parse_pitch("F#1"), 30);
  EXPECT_EQ(parse_pitch("28"), 28);
  EXPECT_EQ(parse_pitch(" C4 "), 60);
  EXPECT_EQ(parse_pitch("B\xE2\x99\xAD"
                        "1"),
            34);
  EXPECT_EQ(parse_pitch("F\xE2\x99\xAF"
                        "1"),
            30);
  EXPECT_EQ(parse_pitch("Cb2"), 35);  // the B under C2
  EXPECT_EQ(parse_pitch("B#1"), 36);
  EXPECT_EQ(parse_pitch("C-1"), 0);
  EXPECT_EQ(parse_pitch("G9"), 127);
}

TEST(Pitch, what_is_no_pitch_is_named_with_the_cure) {
  for (const char* text : {"", "H1", "E", "E1x", "128", "-1", "G#9", "Cb-1", "1.5", "E 1 2"}) {
    const auto pitch = parse_pitch(text);
    ASSERT_FALSE(pitch) << text;
    EXPECT_EQ(pitch.error().code, ErrorCode::invalid_argument);
    EXPECT_NE(pitch.error().message.find("such as E1"), std::string::npos);
  }
}

TEST(Pitch, text_and_reading_agree_for_every_pitch_in_every_key) {
  for (int midi = 0; midi <= 127; ++midi) {
    EXPECT_EQ(parse_pitch(pitch_text(midi)), midi);
    for (int tonic = 0; tonic < 12; ++tonic) {
      for (const bool is_minor : {false, true}) {
        const auto name = spell(midi, Key{tonic, is_minor});
        EXPECT_EQ(pitch_class(name), midi % 12);
        const std::string text = pitch_text(midi, Key{tonic, is_minor});
        // Cb and B# at the ends of the range name pitches outside it.
        if (midi < 2 || midi > 125) continue;
        EXPECT_EQ(parse_pitch(text), midi) << text;
      }
    }
  }
}

// Key signatures by the circle of fifths (common practice; any theory primer).
TEST(Key, signatures_follow_the_circle_of_fifths) {
  struct Row {
    const char* key;
    int signature;
  };
  for (const Row& row : {Row{"C", 0},   Row{"G", 1},   Row{"D", 2},    Row{"A", 3},   Row{"E", 4},
                         Row{"B", 5},   Row{"F", -1},  Row{"Bb", -2},  Row{"Eb", -3}, Row{"Ab", -4},
                         Row{"Db", -5}, Row{"Gb", -6}, Row{"Am", 0},   Row{"Em", 1},  Row{"Bm", 2},
                         Row{"F#m", 3}, Row{"C#m", 4}, Row{"G#m", 5},  Row{"Dm", -1}, Row{"Gm", -2},
                         Row{"Cm", -3}, Row{"Fm", -4}, Row{"Bbm", -5}, Row{"Ebm", -6}}) {
    const auto key = parse_key(row.key);
    ASSERT_TRUE(key) << row.key;
    EXPECT_EQ(key_signature(*key), row.signature) << row.key;
    EXPECT_EQ(key_text(*key), row.key);
  }
}

TEST(Key, is_read_as_people_type_it) {
  EXPECT_EQ(parse_key("F# minor"), (Key{6, true}));
  EXPECT_EQ(parse_key("Eb major"), (Key{3, false}));
  EXPECT_EQ(parse_key("g"), (Key{7, false}));
  EXPECT_EQ(parse_key("bbm"), (Key{10, true}));
  EXPECT_EQ(parse_key("A#"), (Key{10, false}));
  for (const char* text : {"", "H", "C dorian", "Bbb b"}) EXPECT_FALSE(parse_key(text)) << text;
}

// The notes of a key have one letter each; chromatic notes as charts write them (common practice).
TEST(Spelling, follows_the_key) {
  const auto in = [](const char* key, int pc) { return to_text(spell(pc, *parse_key(key))); };
  EXPECT_EQ(in("F", 10), "Bb");
  EXPECT_EQ(in("G", 6), "F#");
  EXPECT_EQ(in("E", 8), "G#");
  EXPECT_EQ(in("Ab", 1), "Db");
  EXPECT_EQ(in("Gb", 11), "Cb");
  EXPECT_EQ(in("B", 10), "A#");
  EXPECT_EQ(in("C", 10), "Bb");
  EXPECT_EQ(in("C", 6), "F#");
  EXPECT_EQ(in("Dm", 1), "C#");
  EXPECT_EQ(in("Cm", 11), "B");
  EXPECT_EQ(in("Cm", 3), "Eb");
  // By the rule of fifths D in D flat would be E double flat.
  EXPECT_EQ(in("Db", 2), "D");
  EXPECT_EQ(in("Gb", 9), "A");
  EXPECT_EQ(to_text(spell(3)), "Eb");
  EXPECT_EQ(to_text(spell(6)), "F#");
  EXPECT_EQ(to_text(spell(1)), "Db");
  EXPECT_EQ(to_text(spell(-2)), "Bb");
}

TEST(Spelling, every_major_scale_uses_each_letter_once) {
  for (int tonic = 0; tonic < 12; ++tonic) {
    unsigned letters = 0;
    for (const int step : {0, 2, 4, 5, 7, 9, 11}) {
      letters |= 1U << static_cast<unsigned>(spell(tonic + step, Key{tonic, false}).step);
    }
    EXPECT_EQ(letters, 0x7FU) << tonic;
  }
}

}  // namespace
}  // namespace lowstride::theory
