#include "dsp/voices/pluck.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <gtest/gtest.h>

#include "tests/stretch/allocation_trap.hpp"
#include "tests/stretch/signals.hpp"

namespace lowstride::dsp {
namespace {

std::vector<float> plucked(const PluckNote& note, double seconds, double rate_hz = 44100.0) {
  PluckedString string({.sample_rate_hz = rate_hz});
  string.strike(note);
  std::vector<float> sound(static_cast<std::size_t>(seconds * rate_hz));
  string.add_to(sound);
  return sound;
}

// Twelve-tone equal temperament on 440 Hz (ISO 16:1975).
double hz(int midi) { return 440.0 * std::exp2((midi - 69) / 12.0); }

TEST(PluckedString, every_semitone_from_b0_to_e5_is_within_a_cent) {
  for (const double rate_hz : {44100.0, 48000.0, 96000.0}) {
    for (int midi = 23; midi <= 76; ++midi) {
      const auto sound = plucked({.f0_hz = hz(midi)}, 1.5, rate_hz);
      const double heard = test::partial_hz(sound, {hz(midi), hz(midi)}, rate_hz);
      EXPECT_NEAR(1200.0 * std::log2(heard / hz(midi)), 0.0, 1.0) << midi << " at " << rate_hz;
    }
  }
}

TEST(PluckedString, begins_at_once_is_loudest_early_and_dies_away) {
  for (const int midi : {23, 28, 45, 60}) {
    const auto sound = plucked({.f0_hz = hz(midi), .strength = 0.8}, 4.0);
    EXPECT_LT(test::attack_place(sound, 0, 4410), 220U) << midi;
    EXPECT_NEAR(test::peak(sound), 0.8, 0.15) << midi;
    const std::span<const float> whole(sound);
    const double early = test::energy(whole.subspan(0, 44100));
    const double late = test::energy(whole.subspan(3 * 44100, 44100));
    EXPECT_LT(late, 0.1 * early) << midi;
    EXPECT_GT(early, 0.0) << midi;
  }
}

TEST(PluckedString, has_no_constant_part) {
  const auto sound = plucked({.f0_hz = 41.2}, 2.0);
  const double mean =
      std::accumulate(sound.begin(), sound.end(), 0.0) / static_cast<double>(sound.size());
  EXPECT_NEAR(mean, 0.0, 1e-4);
}

TEST(PluckedString, a_hand_stops_it_within_70_ms) {
  PluckedString string({});
  string.strike({.f0_hz = 55.0});
  std::vector<float> sound(44100);
  string.add_to(sound);
  string.damp();
  std::vector<float> rest(3087);
  string.add_to(rest);
  std::vector<float> silence(44100);
  string.add_to(silence);
  EXPECT_LT(test::peak(silence), 1.1e-3);  // 60 dB under full scale
  EXPECT_FALSE(string.is_sounding());
}

TEST(PluckedString, strokes_are_alike_and_blocks_do_not_matter) {
  const auto wanted = plucked({.f0_hz = 98.0}, 1.0);
  PluckedString string({});
  for (const std::size_t size : {1U, 64U, 480U, 4096U}) {
    string.strike({.f0_hz = 98.0});
    std::vector<float> sound(wanted.size());
    for (std::size_t done = 0; done < sound.size(); done += size) {
      string.add_to(std::span(sound).subspan(done, std::min(size, sound.size() - done)));
    }
    EXPECT_EQ(sound, wanted) << size;
  }
}

TEST(PluckedString, takes_no_memory_and_reset_silences) {
  PluckedString string({});
  std::vector<float> sound(4096);
  const test::AllocationTrap trap;
  string.strike({.f0_hz = 30.87});
  string.add_to(sound);
  string.damp();
  string.reset();
  EXPECT_EQ(trap.count(), 0U);
  EXPECT_FALSE(string.is_sounding());
}

TEST(PluckedString, pitches_out_of_range_are_brought_into_it) {
  for (const double bad : {0.0, 1.0, 50000.0}) {
    const auto sound = plucked({.f0_hz = bad}, 0.5);
    for (const float value : sound) ASSERT_TRUE(std::isfinite(value));
    EXPECT_LE(test::peak(sound), 1.5);
  }
}

}  // namespace
}  // namespace lowstride::dsp
