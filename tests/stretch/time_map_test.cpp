#include "dsp/stretch/time_map.hpp"

#include <gtest/gtest.h>

namespace lowstride::dsp::stretch {
namespace {

// Two steps of 100 samples at twice the length, then two at half: the input has moved by
// 50 + 50 + 200 + 200 = 500 samples after 400 of sound.
TEST(TimeMap, adds_up_steps_of_different_ratio) {
  TimeMap map(100, 1600);
  map.clear();
  map.extend(2.0);
  map.extend(2.0);
  map.extend(0.5);
  map.extend(0.5);
  EXPECT_EQ(map.stretched_end(), 400);
  EXPECT_DOUBLE_EQ(map.input_end(), 500.0);
  EXPECT_DOUBLE_EQ(map.input_at(150.0), 75.0);
  EXPECT_DOUBLE_EQ(map.input_at(250.0), 200.0);
  EXPECT_DOUBLE_EQ(map.stretched_at(75.0), 150.0);
  EXPECT_DOUBLE_EQ(map.stretched_at(200.0), 250.0);
}

TEST(TimeMap, goes_on_beyond_both_ends) {
  TimeMap map(100, 1600);
  map.clear();
  map.extend(2.0);
  EXPECT_DOUBLE_EQ(map.input_at(-10.0), -5.0);
  EXPECT_DOUBLE_EQ(map.input_at(120.0), 60.0);
}

TEST(TimeMap, forgets_only_what_is_older_than_its_memory) {
  TimeMap map(100, 1000);
  map.clear();
  for (int i = 0; i < 1000; ++i) map.extend(2.0);
  EXPECT_DOUBLE_EQ(map.input_at(99050.0), 49525.0);
  EXPECT_DOUBLE_EQ(map.stretched_at(49525.0), 99050.0);
}

}  // namespace
}  // namespace lowstride::dsp::stretch
