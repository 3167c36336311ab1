#include "dsp/rhythm/bar_path.hpp"

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

std::vector<BeatWitness> witnesses(std::size_t count, std::size_t meter, double strength) {
  std::vector<BeatWitness> result(count);
  for (std::size_t i = 0; i < count; ++i) {
    result[i].downbeat = i % meter == 0 ? strength : 1.0 - strength;
  }
  return result;
}

TEST(BarPath, numbers_bars_from_the_first_full_one) {
  const auto bars = find_bars(witnesses(12, 4, 0.9), {});
  ASSERT_EQ(bars.beats.size(), 12U);
  EXPECT_EQ(bars.beats[4].bar, 2);
  EXPECT_EQ(bars.beats[4].beat, 1);
  EXPECT_GT(bars.beats[4].probability, 0.95);
}

TEST(BarPath, lets_chord_changes_decide_where_accents_say_nothing) {
  std::vector<BeatWitness> beats(32);
  for (std::size_t i = 0; i < beats.size(); ++i) {
    beats[i].downbeat = 0.25;
    beats[i].chord_change = i % 4 == 2 ? 0.9 : 0.05;
  }
  const auto bars = find_bars(beats, {});
  EXPECT_EQ(bars.beats_per_bar, 4);
  EXPECT_EQ(bars.beats[2].beat, 1);
  EXPECT_EQ(bars.beats[2].bar, 1);
  EXPECT_EQ(bars.beats[0].bar, 0);
}

TEST(BarPath, is_unsure_without_evidence) {
  std::vector<BeatWitness> beats(32);
  for (auto& beat : beats) beat.downbeat = 0.25;
  const auto bars = find_bars(beats, {});
  // Music begins on a one in four of five cases, but no more is known.
  EXPECT_LT(bars.beats[0].probability, 0.85);
}

TEST(BarPath, has_no_bar_one_before_a_downbeat) {
  BarOptions options;
  options.beats_per_bar = 4;
  std::vector<BeatWitness> beats(14);  // two of a pick-up, and three bars
  for (auto& beat : beats) beat.downbeat = 0.02;
  for (const std::size_t one : {2U, 6U, 10U}) beats[one].downbeat = 0.98;
  const auto bars = find_bars(beats, options);
  EXPECT_LE(bars.beats[0].bar, 0);
  EXPECT_LE(bars.beats[1].bar, 0);
  EXPECT_EQ(bars.beats[2].bar, 1);
}

TEST(BarPath, takes_nothing_for_an_answer) { EXPECT_TRUE(find_bars({}, {}).beats.empty()); }

}  // namespace
}  // namespace lowstride::dsp
