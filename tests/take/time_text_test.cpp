#include "src/take/time_text.hpp"

#include <random>

#include <gtest/gtest.h>

#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::beat_samples;
using testing_help::example_take;
using testing_help::rate;

TEST(TimeText, reads_seconds_minutes_and_hours) {
  EXPECT_DOUBLE_EQ(*parse_seconds("72.5"), 72.5);
  EXPECT_DOUBLE_EQ(*parse_seconds("1:12.500"), 72.5);
  EXPECT_DOUBLE_EQ(*parse_seconds("1:02:03.5"), 3723.5);
  EXPECT_DOUBLE_EQ(*parse_seconds("0"), 0.0);
  EXPECT_DOUBLE_EQ(*parse_seconds(" 90 "), 90.0);
}

TEST(TimeText, refuses_what_is_no_time_and_names_it) {
  for (const char* text :
       {"", "x", "-1", "1e3", "1:60", "1:75.2", "1:", ":3", "1.5:20", "1:2:3:4", "inf", "nan",
        "0x10", "12b", "..", "b", "99999999999999999999", "1..2"}) {
    const auto outcome = parse_seconds(text);
    ASSERT_FALSE(outcome) << text;
    EXPECT_EQ(outcome.error().code, ErrorCode::invalid_argument);
    EXPECT_NE(outcome.error().message.find("'" + std::string(text) + "'"), std::string::npos);
  }
}

// In the example beat b of bar n falls on 0.5 s + ((n - 1) * 4 + b - 1) * 0.5 s.
TEST(TimeText, reads_bar_positions) {
  const Take take = example_take();
  EXPECT_EQ(*parse_time("b1", take), rate / 2);
  EXPECT_EQ(*parse_time("b3:2", take), rate / 2 + 9 * beat_samples);
  EXPECT_EQ(*parse_time("b3:2.5", take), rate / 2 + 9 * beat_samples + beat_samples / 2);
  EXPECT_EQ(*parse_time("b0:4", take), 0) << "the grid goes on before its first beat";
  EXPECT_EQ(*parse_time("b9:2", take), rate / 2 + 33 * beat_samples) << "and behind its last";
  EXPECT_EQ(*parse_time("1.5", take), 3 * rate / 2);
}

TEST(TimeText, refuses_places_that_are_not_in_the_take) {
  const Take take = example_take();
  for (const char* text :
       {"b0:3", "b40", "b3:5", "b3:0.5", "b3:x", "b", "bb", "b1:2:3", "25", "b2147483648"}) {
    const auto outcome = parse_time(text, take);
    ASSERT_FALSE(outcome) << text;
    EXPECT_NE(outcome.error().message.find(text), std::string::npos) << outcome.error().message;
  }
  Take bare = take;
  bare.beats.clear();
  EXPECT_NE(parse_time("b3", bare).error().message.find("no beats"), std::string::npos);
}

TEST(TimeText, reads_stretches) {
  const Take take = example_take();
  EXPECT_EQ(*parse_stretch("b2..b3", take),
            (Stretch{rate / 2 + 4 * beat_samples, rate / 2 + 8 * beat_samples}));
  EXPECT_EQ(*parse_stretch("0.25..0:01.5", take), (Stretch{rate / 4, 3 * rate / 2}));
  EXPECT_FALSE(parse_stretch("b3..b2", take));
  EXPECT_FALSE(parse_stretch("b3", take));
  EXPECT_FALSE(parse_stretch("..", take));
}

TEST(TimeText, writes_times_that_it_reads_again) {
  EXPECT_EQ(format_time(72.5), "1:12.500");
  EXPECT_EQ(format_time(3723.5), "1:02:03.500");
  EXPECT_EQ(format_time(59.9996), "1:00.000");
  EXPECT_EQ(format_time(0.0), "0:00.000");
  const Take take = example_take();
  EXPECT_EQ(format_place(rate / 2 + 9 * beat_samples, take), "b3:2");
  EXPECT_EQ(format_place(rate / 2 + 9 * beat_samples + beat_samples / 2, take), "b3:2.5");
  EXPECT_EQ(format_place(rate / 2 + 8 * beat_samples - 3, take), "b3:1");
  EXPECT_EQ(format_place(0, take), "b0:4");
}

TEST(TimeText, positions_and_samples_are_each_others_reverse) {
  Take take = example_take();
  std::mt19937 random(7);
  for (Beat& beat : take.beats) {
    beat.time_samples += std::uniform_int_distribution<int>(-4000, 4000)(random);
  }
  for (std::int64_t sample = 0; sample <= take.length_samples; sample += 3331) {
    const auto position = bar_position(take, static_cast<double>(sample));
    ASSERT_TRUE(position);
    EXPECT_NEAR(*sample_at(take, *position), static_cast<double>(sample), 0.01);
    // Two decimals of a beat of at most 0.7 s: 3.5 ms.
    const auto read = parse_time(format_place(sample, take), take);
    ASSERT_TRUE(read) << format_place(sample, take) << read.error().message;
    EXPECT_NEAR(static_cast<double>(*read), static_cast<double>(sample), 0.0036 * rate);
  }
}

TEST(TimeText, a_take_without_beats_has_no_positions) {
  Take take = example_take();
  take.beats.resize(1);
  EXPECT_FALSE(bar_position(take, 1000.0));
  EXPECT_FALSE(sample_at(take, {1, 1.0}));
  EXPECT_EQ(format_place(rate, take), "0:01.000");
  take.beats.clear();
  EXPECT_EQ(nearest_beat(take, 0), nullptr);
}

}  // namespace
}  // namespace lowstride::take
