#include "dsp/harmony/form.hpp"

#include <gtest/gtest.h>

#include "tests/harmony/evidence_of_chords.hpp"

namespace lowstride::dsp {
namespace {

using enum ChordQuality;

struct Change {
  int root_pc;
  ChordQuality quality;
};

/// One chord a bar, from bar `first` on.
std::vector<BarChords> chart(const std::vector<Change>& changes, int first = 1, int transpose = 0) {
  std::vector<BarChords> bars;
  for (const auto& change : changes) {
    const int root = (change.root_pc + transpose) % 12;
    const ChordReading chord{root, change.quality, root};
    bars.push_back({first++, chord, chord});
  }
  return bars;
}

std::vector<Change> times(const std::vector<Change>& once, int count) {
  std::vector<Change> all;
  for (int i = 0; i < count; ++i) all.insert(all.end(), once.begin(), once.end());
  return all;
}

constexpr auto d7 = dominant_seventh;
constexpr auto m7 = minor_seventh;

// The plain blues, the blues of jazz players with its ii-V, and the minor blues with bVI-V (common
// practice; Levine, The Jazz Theory Book, 1995, chapter 10, from memory).
const std::vector<Change> plain{{0, d7}, {5, d7}, {0, d7}, {0, d7}, {5, d7}, {5, d7},
                                {0, d7}, {0, d7}, {7, d7}, {5, d7}, {0, d7}, {7, d7}};
const std::vector<Change> jazz{{0, d7}, {5, d7}, {0, d7}, {7, m7}, {5, d7}, {6, diminished_seventh},
                               {0, d7}, {9, d7}, {2, m7}, {7, d7}, {0, d7}, {7, d7}};
const std::vector<Change> minor_changes{{0, m7}, {0, m7}, {0, m7}, {0, m7}, {5, m7}, {5, m7},
                                        {0, m7}, {0, m7}, {8, d7}, {7, d7}, {0, m7}, {7, d7}};

TEST(Form, recognises_a_blues_and_its_variants_in_every_key) {
  for (int key = 0; key < 12; ++key) {
    for (const auto* changes : {&plain, &jazz, &minor_changes}) {
      const auto form = recognise_form(chart(times(*changes, 2), 1, key));
      ASSERT_TRUE(form);
      EXPECT_EQ(form->kind,
                changes == &minor_changes ? FormKind::minor_blues : FormKind::twelve_bar_blues);
      EXPECT_EQ(form->first_bar, 1);
      EXPECT_EQ(form->length_bars, 12);
      EXPECT_EQ(form->tonic_pc, key);
    }
  }
}

TEST(Form, finds_where_the_chorus_begins_after_an_introduction) {
  auto changes = times(plain, 2);
  changes.insert(changes.begin(), {{9, d7}, {2, d7}, {7, d7}, {7, d7}});
  const auto form = recognise_form(chart(changes));
  ASSERT_TRUE(form);
  EXPECT_EQ(form->kind, FormKind::twelve_bar_blues);
  EXPECT_EQ(form->first_bar, 5);
}

TEST(Form, survives_two_misread_bars) {
  auto changes = times(jazz, 2);
  changes[1] = {3, major};
  changes[18] = {10, m7};
  const auto form = recognise_form(chart(changes));
  ASSERT_TRUE(form);
  EXPECT_EQ(form->kind, FormKind::twelve_bar_blues);
}

TEST(Form, recognises_aaba_by_its_bridge) {
  const std::vector<Change> a{
      {0, major_seventh}, {9, m7}, {2, m7}, {7, d7}, {4, m7}, {9, d7}, {2, m7}, {7, d7}};
  const std::vector<Change> bridge{{4, d7}, {4, d7}, {9, d7}, {9, d7},
                                   {2, d7}, {2, d7}, {7, d7}, {7, d7}};
  auto changes = times(a, 2);
  changes.insert(changes.end(), bridge.begin(), bridge.end());
  changes.insert(changes.end(), a.begin(), a.end());
  changes[7] = {0, major_sixth};  // the second A turns otherwise
  const auto form = recognise_form(chart(changes));
  ASSERT_TRUE(form);
  EXPECT_EQ(form->kind, FormKind::aaba);
  EXPECT_EQ(form->length_bars, 32);
  EXPECT_EQ(form->first_bar, 1);
  EXPECT_EQ(form_name(*form), "32-bar AABA");
}

// Sixteen bars: four sections of four with a bridge, or one chorus that comes round.
TEST(Form, recognises_sixteen_bars_with_a_bridge_and_without) {
  const std::vector<Change> a{{7, major}, {4, m7}, {9, m7}, {2, d7}};
  const std::vector<Change> bridge{{0, major}, {5, d7}, {11, d7}, {4, d7}};
  auto sections = times(a, 2);
  sections.insert(sections.end(), bridge.begin(), bridge.end());
  sections.insert(sections.end(), a.begin(), a.end());
  const auto aaba = recognise_form(chart(times(sections, 2)));
  ASSERT_TRUE(aaba);
  EXPECT_EQ(aaba->kind, FormKind::aaba);
  EXPECT_EQ(form_name(*aaba), "16-bar AABA");

  const std::vector<Change> through{
      {10, major}, {10, d7}, {3, major}, {3, minor}, {10, major}, {7, d7}, {0, d7}, {5, d7},
      {10, d7},    {2, d7},  {7, m7},    {0, d7},    {3, minor},  {8, d7}, {0, m7}, {5, d7}};
  const auto round = recognise_form(chart(times(through, 2)));
  ASSERT_TRUE(round);
  EXPECT_EQ(round->kind, FormKind::cycle);
  EXPECT_EQ(form_name(*round), "16-bar cycle");
}

TEST(Form, recognises_a_vamp_on_two_chords) {
  const auto form = recognise_form(chart(times({{7, m7}, {7, m7}, {0, d7}, {0, d7}}, 4)));
  ASSERT_TRUE(form);
  EXPECT_EQ(form->kind, FormKind::vamp);
  EXPECT_EQ(form->length_bars, 4);
}

TEST(Form, recognises_any_other_cycle) {
  const auto form =
      recognise_form(chart(times({{0, major}, {7, major}, {9, minor}, {5, major}}, 3)));
  ASSERT_TRUE(form);
  EXPECT_EQ(form->kind, FormKind::cycle);
  EXPECT_EQ(form->length_bars, 4);
}

TEST(Form, is_nothing_for_one_chord_for_few_bars_and_for_wandering_harmony) {
  EXPECT_FALSE(recognise_form({}));
  EXPECT_FALSE(recognise_form(chart(times({{0, d7}}, 24))));
  EXPECT_FALSE(recognise_form(chart({{0, d7}, {5, d7}, {0, d7}})));
  std::vector<Change> wandering;
  wandering.reserve(32);
  for (int i = 0; i < 32; ++i) wandering.push_back({(i * i * 5 + i * 7 + i / 3) % 12, m7});
  EXPECT_FALSE(recognise_form(chart(wandering)));
}

TEST(ChordsByBar, takes_full_bars_from_the_first_on) {
  auto grid = grid_of(11);
  for (auto& beat : grid.beats) --beat.bar;  // a bar of clicks
  const std::vector<DecodedChord> chords{{2.0, 3.0, {0, major, 0}, 1.0, false, {}},
                                         {3.0, 6.0, {7, major, 7}, 1.0, false, {}}};
  const auto bars = chords_by_bar(grid, chords);
  ASSERT_EQ(bars.size(), 1U);  // the third bar has three beats
  EXPECT_EQ(bars[0].bar, 1);
  EXPECT_EQ(bars[0].first_half.root_pc, 0);
  EXPECT_EQ(bars[0].second_half.root_pc, 7);
}

}  // namespace
}  // namespace lowstride::dsp
