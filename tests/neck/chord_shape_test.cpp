#include "src/neck/chord_shape.hpp"

#include <cstdlib>
#include <random>
#include <string>

#include <gtest/gtest.h>

#include "src/neck/named_necks.hpp"

namespace lowstride::neck {
namespace {

/// "x32010": frets from the lowest string of a guitar up, x for a string that is not played.
std::vector<Position> places(const std::string& frets) {
  std::vector<Position> found;
  for (std::size_t i = 0; i < frets.size(); ++i) {
    if (frets[i] == 'x') continue;
    found.push_back({static_cast<int>(frets.size() - i), frets[i] - '0', 0});
  }
  return found;
}

/// Fingers of the easiest way, "032010" for x32010; empty when there is none.
std::string easiest(const std::string& frets) {
  const auto shapes = chord_shapes(*find_neck("guitar"), places(frets));
  if (shapes.empty()) return {};
  std::string fingers;
  for (const Position& position : shapes.front().positions) {
    fingers += static_cast<char>('0' + position.finger);
  }
  return fingers;
}

// First-position chords with the fingers that method books give them (common practice; from
// memory, no book named): C, A minor, E, D, B7, and F with a barre.
TEST(ChordShapes, of_first_position_have_the_usual_fingers) {
  EXPECT_EQ(easiest("x32010"), "32010");
  EXPECT_EQ(easiest("x02210"), "02310");
  EXPECT_EQ(easiest("022100"), "023100");
  EXPECT_EQ(easiest("xx0232"), "0132");
  EXPECT_EQ(easiest("x21202"), "21304");
  EXPECT_EQ(easiest("133211"), "134211");
}

TEST(ChordShapes, that_no_hand_can_hold_are_none) {
  EXPECT_EQ(easiest("1xxxx7"), "");  // 179 mm
  EXPECT_EQ(easiest("123456"), "");  // six frets
  EXPECT_EQ(easiest("x13243"), "");  // five fingers, and the barre fret holds one string alone
  EXPECT_EQ(easiest("2x0222"), "");  // an open string in the midst of a barre, four beside it
  EXPECT_NE(easiest("3x0003"), "");
  EXPECT_NE(easiest("3x34xx"), "");
}

TEST(ChordShapes, higher_up_the_hand_reaches_more_frets) {
  EXPECT_EQ(chord_shapes(*find_neck("bass"), places("1xx5"), 135.0).size(), 0U);
  EXPECT_NE(chord_shapes(*find_neck("bass"), places("7xx9"), 135.0).size(), 0U);
  Neck guitar = *find_neck("guitar");
  const auto wide = places("1xxxx5");  // 126 mm
  EXPECT_FALSE(chord_shapes(guitar, wide, 135.0).empty());
  EXPECT_TRUE(chord_shapes(guitar, wide, 120.0).empty());
  guitar.capo = 5;
  EXPECT_FALSE(chord_shapes(guitar, wide, 120.0).empty());
}

/// The rules of the header again, each by itself.
void expect_holdable(const Neck& neck, const ChordShape& shape, double max_span_mm) {
  int lowest_fret = 99;
  int highest_fret = 0;
  for (const Position& one : shape.positions) {
    EXPECT_EQ(one.fret == 0, one.finger == 0);
    EXPECT_TRUE(one.finger >= 0 && one.finger <= 4);
    if (one.fret == 0) continue;
    lowest_fret = std::min(lowest_fret, one.fret);
    highest_fret = std::max(highest_fret, one.fret);
    for (const Position& other : shape.positions) {
      if (other.fret == 0 || other.string_number == one.string_number) continue;
      if (other.finger == one.finger) {
        EXPECT_EQ(one.finger, 1);
        EXPECT_EQ(one.fret, other.fret);
        for (const Position& open : shape.positions) {
          if (open.fret != 0) continue;
          EXPECT_FALSE((open.string_number - one.string_number) *
                           (open.string_number - other.string_number) <
                       0);
        }
      } else if (other.finger > one.finger) {
        EXPECT_GE(other.fret, one.fret);
        if (other.fret == one.fret) {
          EXPECT_LT(other.string_number, one.string_number);
        }
      }
    }
  }
  if (highest_fret == 0) return;
  const double span_mm = fret_distance_mm(neck.scale_mm, highest_fret + neck.capo) -
                         fret_distance_mm(neck.scale_mm, lowest_fret + neck.capo);
  EXPECT_LE(span_mm, max_span_mm);
}

TEST(ChordShapes, are_holdable_whatever_is_asked_for) {
  constexpr unsigned seed = 4711;
  std::mt19937 random(seed);
  const auto number = [&random](int low, int high) {
    return std::uniform_int_distribution<int>(low, high)(random);
  };
  int held = 0;
  for (int i = 0; i < 5000; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", shape " + std::to_string(i));
    Neck neck = named_necks()[static_cast<std::size_t>(i) % named_necks().size()];
    neck.capo = i % 4 == 3 ? 3 : 0;
    std::vector<Position> asked;
    const int base = number(1, last_fret(neck) - 4);
    for (int string_number = neck.string_count(); string_number >= 1; --string_number) {
      if (number(0, 2) == 0) continue;
      asked.push_back({string_number, number(0, 3) == 0 ? 0 : base + number(0, 4), 0});
    }
    const double span_mm = i % 2 == 0 ? 135.0 : 100.0;
    double effort = 0.0;
    for (const ChordShape& shape : chord_shapes(neck, asked, span_mm)) {
      ASSERT_EQ(shape.positions.size(), asked.size());
      for (std::size_t k = 0; k < asked.size(); ++k) {
        EXPECT_EQ(shape.positions[k].string_number, asked[k].string_number);
        EXPECT_EQ(shape.positions[k].fret, asked[k].fret);
      }
      EXPECT_GE(shape.effort, effort);
      effort = shape.effort;
      expect_holdable(neck, shape, span_mm);
      ++held;
    }
    if (HasFailure()) return;
  }
  EXPECT_GT(held, 1000);
}

}  // namespace
}  // namespace lowstride::neck
