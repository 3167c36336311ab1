#include "gui/model/levels.hpp"

#include <cmath>
#include <random>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

namespace lowstride::desk {
namespace {

std::vector<Level> random_levels(std::size_t count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::uniform_int_distribution<int> value(0, 127);
  std::vector<Level> levels;
  for (std::size_t i = 0; i < count; ++i) {
    levels.push_back(
        {static_cast<std::int8_t>(-value(random)), static_cast<std::int8_t>(value(random))});
  }
  return levels;
}

TEST(Levels, hold_the_extremes_of_every_stretch_at_every_zoom) {
  constexpr std::size_t count = 3001;
  const std::vector<Level> truth = random_levels(count, 7);
  Levels levels(static_cast<std::int64_t>(count) * Levels::base_samples);
  for (const Level level : truth) levels.append(level);
  EXPECT_DOUBLE_EQ(levels.share_done(), 1.0);
  for (std::size_t first = 0; first < count; first += 37) {
    for (const std::size_t length : {1UL, 2UL, 7UL, 64UL, 500UL, 3000UL}) {
      const std::size_t last = std::min(count, first + length);
      Level inside = truth[first];
      for (std::size_t i = first; i < last; ++i) {
        inside = {std::min(inside.low, truth[i].low), std::max(inside.high, truth[i].high)};
      }
      const auto answer =
          levels.between(static_cast<double>(first * 256), static_cast<double>(last * 256));
      ASSERT_TRUE(answer);
      // Whole entries that overlap: never less than what is inside.
      EXPECT_LE(answer->low, inside.low);
      EXPECT_GE(answer->high, inside.high);
      if (length <= 6) {
        EXPECT_EQ(*answer, inside);
      }
    }
  }
}

TEST(Levels, answer_from_the_glance_until_the_rest_is_there) {
  Levels levels(1'000'000);
  EXPECT_FALSE(levels.between(0.0, 1000.0));
  // A quarter of the places, coarse ones first: every time has an answer from a place before it.
  for (std::size_t i = 0; i < Levels::glance_count / 4; ++i) {
    levels.put_glance({static_cast<std::int8_t>(-(levels.glance_order()[i] * 100 / 1400)), 5});
  }
  for (double at = 0.0; at < 990'000.0; at += 7000.0) {
    const auto glance = levels.between(at, at + 1000.0);
    ASSERT_TRUE(glance);
    EXPECT_NEAR(-glance->low, at / 1e6 * 100.0, 1.5) << at;
  }
  levels.append({-1, 1});
  EXPECT_EQ(levels.between(0.0, 256.0), (Level{-1, 1}));
  EXPECT_FALSE(levels.between(-50.0, -1.0));
  EXPECT_FALSE(levels.between(2'000'000.0, 2'100'000.0));
}

// One thread fills while another reads: what is answered was written (run under the thread
// sanitizer as well).
TEST(Levels, may_be_read_while_they_are_filled) {
  constexpr std::int64_t count = 20'000;
  Levels levels(count * Levels::base_samples);
  std::jthread filler([&] {
    for (std::int64_t i = 0; i < count; ++i) levels.append({-9, 9});
  });
  while (levels.share_done() < 1.0) {
    const double done = levels.share_done() * static_cast<double>(count * Levels::base_samples);
    if (done < 1.0) continue;
    const auto answer = levels.between(0.0, std::max(256.0, done * 0.9));
    ASSERT_TRUE(answer);
    EXPECT_EQ(*answer, (Level{-9, 9}));
  }
}

}  // namespace
}  // namespace lowstride::desk
