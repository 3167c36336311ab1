#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "tests/stretch/allocation_trap.hpp"
#include "tests/stretch/signals.hpp"

namespace lowstride {
namespace {

using dsp::Stretcher;
using dsp::StretchSettings;

constexpr std::array<double, 3> onsets_seconds{0.31, 0.72, 1.13};

/// A bass note under clicks in stereo: all parts of the engine have something to do.
test::Channels music() {
  auto left = test::clicks(onsets_seconds, 1.5);
  auto right = test::plucked_tone(test::a1_hz, 0.3, 1.5);
  for (std::size_t n = 0; n < left.size(); ++n) left[n] += 0.5F * right[n];
  return {left, right};
}

TEST(Stretcher, block_sizes_do_not_change_a_sample) {
  const auto in = music();
  for (const StretchSettings settings : {StretchSettings{.speed = 0.5, .pitch_ratio = 1.0},
                                         StretchSettings{.speed = 0.83, .pitch_ratio = 1.1},
                                         StretchSettings{.speed = 1.4, .pitch_ratio = 1.0}}) {
    Stretcher whole({});
    const auto wanted = test::run(whole, settings, in, 1U << 20);
    for (const std::size_t size : {1U, 64U, 480U, 4096U}) {
      Stretcher stretcher({});
      EXPECT_EQ(test::run(stretcher, settings, in, size), wanted) << size;
    }
  }
}

TEST(Stretcher, reset_equals_new) {
  const auto in = music();
  Stretcher fresh({});
  const StretchSettings settings{.speed = 0.6};
  const auto wanted = test::run(fresh, settings, in);
  Stretcher used({});
  (void)test::run(used, {.speed = 1.7, .pitch_ratio = 0.8}, {in[1], in[0]});
  used.reset();
  EXPECT_EQ(used.position_samples(), 0.0);
  EXPECT_EQ(test::run(used, settings, in), wanted);
}

TEST(Stretcher, length_is_exact) {
  for (const std::size_t count : {1U, 2U, 255U, 256U, 1001U, 44101U}) {
    const std::vector<float> in(count, 0.1F);
    for (const double speed : {0.2, 0.37, 0.5, 0.8, 1.0, 1.5, 4.0}) {
      for (const double pitch_ratio : {1.0, 0.5, 1.4983}) {
        const auto wanted =
            static_cast<std::size_t>(std::llround(static_cast<double>(count) / speed));
        EXPECT_EQ(test::stretched({in}, speed, pitch_ratio).front().size(), wanted)
            << count << " at " << speed << ", " << pitch_ratio;
      }
    }
  }
}

TEST(Stretcher, nothing_in_gives_nothing_out) {
  Stretcher stretcher({.channel_count = 1});
  std::vector<float> room(64);
  std::array<float*, 1> channels{room.data()};
  EXPECT_EQ(stretcher.drain({.channels = channels, .sample_count = 64}), 0U);
}

TEST(Stretcher, takes_no_memory_while_it_runs) {
  const auto in = music();
  Stretcher stretcher({});
  std::vector<float> left(512);
  std::vector<float> right(512);
  const std::array<float*, 2> out{left.data(), right.data()};
  std::size_t used = 0;
  const test::AllocationTrap trap;
  while (used < in[0].size()) {
    const std::array<const float*, 2> rest{in[0].data() + used, in[1].data() + used};
    const StretchSettings now{.speed = used < 30000 ? 0.5 : 0.8,
                              .pitch_ratio = used < 50000 ? 1.0 : 1.2};
    used += stretcher
                .process(now,
                         {.channels = rest,
                          .sample_count = std::min<std::size_t>(512, in[0].size() - used)},
                         {.channels = out, .sample_count = 512})
                .consumed_samples;
  }
  while (stretcher.drain({.channels = out, .sample_count = 512}) != 0) {
  }
  stretcher.reset();
  EXPECT_EQ(trap.count(), 0U);
}

TEST(AllocationTrap, counts_what_is_taken) {
  const test::AllocationTrap trap;
  std::vector<float> some(100);
  EXPECT_GE(trap.count(), 1U);
  EXPECT_EQ(some.size(), 100U);
}

// The first sample out stands for the first one in, and an impulse is out when `latency_samples()`
// more have been given.
TEST(Stretcher, an_impulse_comes_out_in_its_place_and_in_time) {
  for (const double speed : {0.5, 1.0, 2.0}) {
    Stretcher stretcher({.channel_count = 1, .highest_speed = 2.0});
    const std::size_t place = 30000;
    std::vector<float> in(place + 1 + stretcher.latency_samples(), 0.0F);
    in[place] = 1.0F;
    std::vector<float> out(4 * in.size());
    std::array<const float*, 1> readable{in.data()};
    std::array<float*, 1> writable{out.data()};
    const auto progress =
        stretcher.process({.speed = speed}, {.channels = readable, .sample_count = in.size()},
                          {.channels = writable, .sample_count = out.size()});
    EXPECT_EQ(progress.consumed_samples, in.size());
    const double wanted = static_cast<double>(place) / speed;
    EXPECT_GT(static_cast<double>(progress.produced_samples), wanted);
    const auto highest = std::max_element(out.begin(), out.end());
    EXPECT_NEAR(static_cast<double>(highest - out.begin()), wanted, 0.001 * test::rate_hz) << speed;
    EXPECT_NEAR(stretcher.position_samples(),
                static_cast<double>(progress.produced_samples) * speed, 1.0);
  }
}

TEST(Stretcher, speed_one_gives_the_input_back) {
  const auto in = music();
  const auto out = test::stretched(in, 1.0);
  for (std::size_t n = 0; n < in[0].size(); ++n) ASSERT_NEAR(out[0][n], in[0][n], 1e-4) << n;
}

TEST(Stretcher, silence_stays_silent) {
  const std::vector<float> in(60000, 0.0F);
  EXPECT_EQ(test::peak(test::stretched({in}, 0.5).front()), 0.0);
}

TEST(Stretcher, a_constant_stays_constant) {
  const std::vector<float> in(60000, 0.25F);
  const auto out = test::stretched({in}, 0.5).front();
  for (std::size_t n = 9000; n + 9000 < out.size(); ++n) ASSERT_NEAR(out[n], 0.25F, 0.01F) << n;
}

TEST(Stretcher, full_scale_grows_by_little) {
  auto in = test::steady_tone(test::e1_hz, 2.0);
  for (float& value : in) value = std::clamp(4.0F * value, -1.0F, 1.0F);  // clipped hard
  const auto out = test::stretched({in}, 0.5).front();
  // Its partials keep their energy but not the phases that made the square: crests grow.
  EXPECT_LT(test::peak(out), 2.5);
  EXPECT_NEAR(10.0 * std::log10(0.5 * test::energy(out) / test::energy(in)), 0.0, 0.3);
}

TEST(Stretcher, what_is_no_number_counts_as_silence) {
  auto in = test::steady_tone(test::a1_hz, 1.0);
  auto clean = in;
  for (const std::size_t place : {0U, 5000U, 20000U}) {
    in[place] = std::numeric_limits<float>::quiet_NaN();
    in[place + 1] = std::numeric_limits<float>::infinity();
    clean[place] = clean[place + 1] = 0.0F;
  }
  EXPECT_EQ(test::stretched({in}, 0.5), test::stretched({clean}, 0.5));
}

TEST(Stretcher, settings_out_of_range_are_brought_to_the_nearest) {
  const std::vector<float> in(5000, 0.1F);
  Stretcher stretcher({.channel_count = 1, .lowest_speed = 0.5, .highest_speed = 2.0});
  EXPECT_EQ(test::run(stretcher, {.speed = 0.0}, {in}).front().size(), 10000U);
  stretcher.reset();
  EXPECT_EQ(test::run(stretcher, {.speed = 100.0}, {in}).front().size(), 2500U);
  stretcher.reset();
  EXPECT_EQ(test::run(stretcher, {.speed = std::numeric_limits<double>::quiet_NaN()}, {in})
                .front()
                .size(),
            5000U);
}

TEST(Stretcher, odd_rates_and_many_channels_work) {
  for (const double rate : {8000.0, 11025.0, 22050.0, 48000.0, 88200.0, 192000.0}) {
    const auto count = static_cast<std::size_t>(rate);
    std::vector<float> in(count);
    for (std::size_t n = 0; n < count; ++n) {
      in[n] = 0.5F * static_cast<float>(
                         std::sin(2.0 * 3.14159265358979 * 110.0 * static_cast<double>(n) / rate));
    }
    const auto out = test::stretched({in, in, in}, 0.5, 1.0, rate);
    ASSERT_EQ(out.size(), 3U);
    ASSERT_EQ(out[2].size(), 2 * count);
    EXPECT_EQ(out[0], out[2]);
    EXPECT_NEAR(test::partial_hz(out[0], {110.0, 110.0}, rate), 110.0, 0.02) << rate;
  }
}

// Speed and pitch move while a note sounds: no click, that is, no jump between two samples that
// the note itself does not make.
TEST(Stretcher, speed_and_pitch_change_without_a_click) {
  std::vector<float> in(200000);
  for (std::size_t n = 0; n < in.size(); ++n) {
    in[n] = 0.5F * static_cast<float>(
                       std::sin(2.0 * 3.14159265358979 * 110.0 * static_cast<double>(n) / 44100.0));
  }
  Stretcher stretcher({.channel_count = 1});
  std::vector<float> out;
  std::vector<float> room(256);
  std::array<float*, 1> writable{room.data()};
  std::size_t used = 0;
  while (used < in.size()) {
    std::array<const float*, 1> readable{in.data() + used};
    const double turn = static_cast<double>(out.size()) / 20000.0;
    const StretchSettings now{.speed = 0.75 + 0.25 * std::sin(turn),
                              .pitch_ratio = out.size() < 100000 ? 1.0 : 1.05};
    const auto progress = stretcher.process(
        now, {.channels = readable, .sample_count = std::min<std::size_t>(256, in.size() - used)},
        {.channels = writable, .sample_count = 256});
    used += progress.consumed_samples;
    out.insert(out.end(), room.begin(),
               room.begin() + static_cast<std::ptrdiff_t>(progress.produced_samples));
  }
  // A sine of amplitude 0.5 at 110 * 1.05 Hz moves by 0.5 * 2 pi * 115.5 / 44100 = 0.0082 a sample
  // at most; its second difference is below 0.00014.
  double jump = 0.0;
  for (std::size_t n = 10000; n + 2 < out.size(); ++n) {
    jump = std::max(jump, std::abs(static_cast<double>(out[n] - 2.0F * out[n + 1] + out[n + 2])));
  }
  EXPECT_LT(jump, 0.002);
}

}  // namespace
}  // namespace lowstride
