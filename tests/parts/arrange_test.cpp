#include "src/parts/arrange.hpp"

#include <algorithm>
#include <random>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "src/neck/chord_shape.hpp"
#include "src/neck/named_necks.hpp"
#include "src/parts/chart.hpp"
#include "src/take/edit.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"
#include "tests/parts/charts.hpp"

namespace lowstride::parts {
namespace {

using testing_help::chart_take;

constexpr Style all_styles[] = {Style::strum, Style::root_fifth, Style::boogie, Style::walking,
                                Style::motif};

take::Take blues() {
  return chart_take({{"G7"}, {"C7"}, {"G7"}, {"Dm7", "G7"}, {"C7"}, {"Cm6"}, {"Bm7b5"}, {"E7"}},
                    {31, 35, 38, 40, 36, 40, 43, 42, 43, 41, 38, 36, 38, 36, 31, 35,
                     36, 38, 40, 43, 36, 39, 43, 45, 35, 38, 41, 39, 28, 32, 35, 38},
                    theory::Key{7, false});
}

/// The note that sounds when a stab is struck, or null.
const take::Note* bass_under(const take::Take& take, const take::Stab& stab) {
  for (const take::Note& note : take.notes) {
    if (note.onset_samples <= stab.onset_samples && stab.onset_samples < note.offset_samples) {
      return &note;
    }
  }
  return nullptr;
}

/// What one hand holds when a stab is struck: the rules of chord_shape.hpp, each by itself.
void expect_one_hand(const take::Take& take, const take::Stab& stab) {
  std::vector<neck::Position> held = stab.positions;
  if (const take::Note* bass = bass_under(take, stab)) {
    ASSERT_TRUE(bass->position);
    held.push_back(*bass->position);
  }
  ASSERT_LE(held.size(), 6U);
  std::set<int> fingers;
  int lowest = 99;
  int highest = 0;
  for (const neck::Position& one : held) {
    EXPECT_EQ(one.fret == 0, one.finger == 0);
    if (one.fret == 0) continue;
    fingers.insert(one.finger);
    lowest = std::min(lowest, one.fret);
    highest = std::max(highest, one.fret);
    for (const neck::Position& other : held) {
      if (&one == &other) continue;
      EXPECT_NE(one.string_number, other.string_number);
      if (other.fret == 0) continue;
      if (other.finger == one.finger) {
        EXPECT_EQ(one.finger, 1) << "only the index finger lies across strings";
        EXPECT_EQ(one.fret, other.fret);
        for (const neck::Position& open : held) {
          const bool is_between = (open.string_number - one.string_number) *
                                      (open.string_number - other.string_number) <
                                  0;
          EXPECT_FALSE(open.fret == 0 && is_between) << "an open string under a barre";
        }
      } else if (other.finger > one.finger) {
        EXPECT_GE(other.fret, one.fret);
      }
    }
  }
  EXPECT_LE(fingers.size(), 4U);
  if (highest > 0) {
    EXPECT_LE(neck::fret_distance_mm(take.neck.scale_mm, highest + take.neck.capo) -
                  neck::fret_distance_mm(take.neck.scale_mm, lowest + take.neck.capo),
              take.fingering.max_span_mm);
  }
}

void expect_stabs_of_their_chords(const take::Take& take) {
  const Chart chart = chart_of(take);
  for (const take::Stab& stab : take.stabs) {
    const auto after = std::ranges::upper_bound(chart.times_samples, stab.onset_samples + 2'000);
    const auto beat = static_cast<std::size_t>(after - chart.times_samples.begin()) - 1;
    ASSERT_LT(beat, chart.beats.size());
    const unsigned tones = theory::chord_pitch_classes(chart.beats[beat].chord);
    for (const neck::Position& place : stab.positions) {
      const int midi = neck::sounding_midi(take.neck, place.string_number, place.fret);
      EXPECT_NE((tones >> static_cast<unsigned>(midi % 12)) & 1U, 0U);
    }
  }
}

TEST(Arrange, every_grip_of_every_style_is_one_that_a_hand_can_hold) {
  const take::Take take = blues();
  for (const char* name :
       {"guitar", "guitar-drop-d", "guitar-open-g", "guitar-dadgad", "guitar7", "baritone"}) {
    for (const Style style : all_styles) {
      SCOPED_TRACE(std::string(name) + ", " + std::string(style_name(style)));
      neck::Neck neck = *neck::find_neck(name);
      for (const int capo : {0, 3}) {
        neck.capo = capo;
        const auto arrangement = arrange(take, {.style = style, .neck = neck});
        ASSERT_TRUE(arrangement) << arrangement.error().message;
        const take::Take& part = arrangement->take;
        ASSERT_TRUE(take::check_take(part)) << take::check_take(part).error().message;
        EXPECT_GT(part.stabs.size(), 7U);
        for (const take::Stab& stab : part.stabs) expect_one_hand(part, stab);
        expect_stabs_of_their_chords(part);
        for (const take::Note& note : part.notes) EXPECT_TRUE(note.position);
      }
    }
  }
}

TEST(Arrange, random_charts_and_lines_too) {
  int stabs = 0;
  for (std::uint32_t seed = 1; seed <= 30; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    std::mt19937 random(seed);
    const auto number = [&random](int low, int high) {
      return std::uniform_int_distribution<int>(low, high)(random);
    };
    constexpr const char* qualities[] = {"",  "m",    "7",  "maj7", "m7",    "mM7", "m7b5",
                                         "6", "dim7", "m6", "sus4", "7sus4", "+",   "dim"};
    constexpr const char* roots[] = {"C",  "Db", "D",  "Eb", "E",  "F",
                                     "F#", "G",  "Ab", "A",  "Bb", "B"};
    std::vector<std::vector<std::string>> bars;
    for (int bar = 0; bar < 8; ++bar) {
      std::vector<std::string> chords;
      for (int i = number(1, 2); i > 0; --i) {
        chords.push_back(std::string(roots[number(0, 11)]) + qualities[number(0, 13)]);
      }
      bars.push_back(chords);
    }
    std::vector<std::optional<int>> line;
    int midi = 36;
    for (int i = 0; i < 32; ++i) {
      midi = std::clamp(midi + number(-6, 6), 26, 55);
      line.push_back(number(0, 6) == 0 ? std::optional<int>() : midi);
    }
    const take::Take take = chart_take(bars, line, std::nullopt);
    for (const Style style : all_styles) {
      SCOPED_TRACE(style_name(style));
      const auto arrangement = arrange(take, {.style = style, .tempo_bpm = 90.0});
      ASSERT_TRUE(arrangement) << arrangement.error().message;
      ASSERT_TRUE(take::check_take(arrangement->take));
      for (const take::Stab& stab : arrangement->take.stabs) {
        expect_one_hand(arrangement->take, stab);
        ++stabs;
      }
      for (const take::Note& note : arrangement->take.notes) ASSERT_TRUE(note.position);
      if (testing::Test::HasFailure()) return;
    }
  }
  EXPECT_GT(stabs, 1000);
}

TEST(Arrange, stabs_stand_where_the_style_has_them) {
  const take::Take take = blues();
  const auto places = [&](Style style) {
    const auto arrangement = arrange(take, {.style = style, .tempo_bpm = 120.0});
    std::set<double> beats;  // within the bar, from 0
    for (const take::Stab& stab : arrangement->take.stabs) {
      beats.insert(static_cast<double>(stab.onset_samples % (4 * 24'000)) / 24'000.0);
    }
    return beats;
  };
  EXPECT_EQ(places(Style::walking), (std::set<double>{1.0, 3.0}));
  EXPECT_EQ(places(Style::root_fifth), (std::set<double>{1.0, 3.0}));
  EXPECT_EQ(places(Style::strum), (std::set<double>{1.0, 2.0, 3.0}));
  EXPECT_EQ(places(Style::boogie), (std::set<double>{1.5, 3.5}));
  EXPECT_EQ(places(Style::motif), (std::set<double>{0.0, 2.0}));
}

TEST(Arrange, a_line_below_the_strings_is_raised_and_said) {
  const auto arrangement = arrange(blues(), {});
  ASSERT_TRUE(arrangement);
  EXPECT_EQ(arrangement->take.neck.name, "guitar");
  EXPECT_EQ(arrangement->take.octave_shift, 1);
  ASSERT_FALSE(arrangement->remarks.empty());
  EXPECT_NE(arrangement->remarks[0].find("octave"), std::string::npos);
  // One note below E2 among many moves by itself.
  std::vector<std::optional<int>> line(32, 45);
  line[5] = 38;
  const auto one =
      arrange(chart_take({{"A7"}, {"A7"}, {"D7"}, {"A7"}, {"E7"}, {"D7"}, {"A7"}, {"A7"}}, line,
                         std::nullopt),
              {});
  ASSERT_TRUE(one);
  EXPECT_EQ(one->take.octave_shift, 0);
  EXPECT_EQ(one->take.notes[5].midi, 50);
}

TEST(Arrange, held_chords_keep_their_fingers_while_the_bass_moves) {
  // Open strings under a held C: the fingers of the chord need not move.
  const auto arrangement =
      arrange(chart_take({{"C"}, {"C"}}, {48, 40, 43, 45, 48, 43, 40, 45}, theory::Key{0, false}),
              {.style = Style::motif, .neck = *neck::find_neck("guitar")});
  ASSERT_TRUE(arrangement);
  const take::Take& part = arrangement->take;
  ASSERT_FALSE(part.stabs.empty());
  int under = 0;
  for (const take::Stab& stab : part.stabs) {
    for (const take::Note& note : part.notes) {
      if (note.onset_samples < stab.onset_samples || note.onset_samples >= stab.offset_samples) {
        continue;
      }
      ++under;
      std::vector<neck::Position> held{*note.position};
      held.insert(held.end(), stab.positions.begin(), stab.positions.end());
      const auto ways = neck::chord_shapes(part.neck, held, part.fingering.max_span_mm);
      EXPECT_TRUE(std::ranges::any_of(ways, [&](const neck::ChordShape& way) {
        return std::equal(stab.positions.begin(), stab.positions.end(), way.positions.begin() + 1);
      }));
    }
  }
  EXPECT_GT(under, 2);
}

// Common practice: the root on an open or low string of the two lowest, fifth, sixth and flat
// seventh two, four and five frets above it on the next string, so that every chord has the same
// pattern.
TEST(Arrange, a_boogie_has_one_pattern_under_the_hand_over_every_root) {
  const auto places = [](const char* chord) {
    const auto arrangement = arrange(
        chart_take({{chord}, {"F#m7"}}, std::vector<std::optional<int>>(8, 45), std::nullopt),
        {.style = Style::boogie, .neck = *neck::find_neck("guitar")});
    EXPECT_TRUE(arrangement);
    std::vector<std::pair<int, int>> found;
    for (std::size_t i = 0; i < 4; ++i) {
      const neck::Position& place = *arrangement->take.notes[i].position;
      found.emplace_back(place.string_number, place.fret);
    }
    return found;
  };
  using Places = std::vector<std::pair<int, int>>;
  EXPECT_EQ(places("E7"), (Places{{6, 0}, {5, 2}, {5, 4}, {5, 5}}));
  EXPECT_EQ(places("G7"), (Places{{6, 3}, {5, 5}, {5, 7}, {5, 8}}));
  EXPECT_EQ(places("A7"), (Places{{5, 0}, {4, 2}, {4, 4}, {4, 5}}));
  EXPECT_EQ(places("C7"), (Places{{5, 3}, {4, 5}, {4, 7}, {4, 8}}));
}

TEST(Arrange, a_boogie_keeps_the_swing_of_its_take) {
  take::Take swung = blues();
  swung.swing_ratio = 2.0;
  const auto arrangement = arrange(swung, {.style = Style::boogie, .tempo_bpm = 120.0});
  ASSERT_TRUE(arrangement);
  EXPECT_EQ(arrangement->take.swing_ratio, 2.0);
  EXPECT_EQ(arrangement->take.stabs.front().onset_samples % 24'000, 16'000);
}

// Voice leading, common practice: through a circle of fifths the shells go down by steps, third to
// seventh and seventh to third, and no stab leaps away from the one before it.
TEST(Arrange, stabs_lead_into_one_another) {
  const auto arrangement = arrange(
      chart_take({{"Em7"}, {"A7"}, {"Dm7"}, {"G7"}, {"Cmaj7"}, {"Fmaj7"}, {"Bm7b5"}, {"E7"}},
                 {40, 43, 47, 46, 45, 49, 52, 51, 50, 53, 48, 44, 43, 47, 50, 49,
                  48, 52, 43, 42, 41, 45, 48, 46, 47, 50, 53, 41, 40, 44, 47, 44},
                 theory::Key{0, false}),
      {.style = Style::walking, .neck = *neck::find_neck("guitar"), .tempo_bpm = 120.0});
  ASSERT_TRUE(arrangement);
  const take::Take& part = arrangement->take;
  std::vector<std::pair<int, int>> outer;
  for (const take::Stab& stab : part.stabs) {
    std::vector<int> midi;
    for (const neck::Position& place : stab.positions) {
      midi.push_back(neck::sounding_midi(part.neck, place.string_number, place.fret));
    }
    outer.emplace_back(std::ranges::min(midi), std::ranges::max(midi));
  }
  ASSERT_GE(outer.size(), 14U);
  int moved = 0;
  for (std::size_t i = 1; i < outer.size(); ++i) {
    const int lower = std::abs(outer[i].first - outer[i - 1].first);
    const int upper = std::abs(outer[i].second - outer[i - 1].second);
    moved += lower + upper;
    EXPECT_LE(upper, 7) << i;
  }
  // Two semitones in all from stab to stab at the most, as the books write them.
  EXPECT_LE(moved, 3 * static_cast<int>(outer.size()));
}

TEST(Arrange, says_what_it_cannot_work_with) {
  take::Take bare = blues();
  bare.chords.clear();
  EXPECT_FALSE(arrange(bare, {}));
  EXPECT_FALSE(arrange(blues(), {.neck = neck::Neck{"three", {40, 45, 50}, 0, 20, 648.0}}));
  EXPECT_FALSE(style_from("polka"));
  for (const std::string& word : style_words()) EXPECT_TRUE(style_from(word));
}

}  // namespace
}  // namespace lowstride::parts
