#include "dsp/pitch/tuning.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {
namespace {

struct String {
  double stiffness = 0.0;      // B of f_k = k f0 sqrt(1 + B k^2)
  double vibrato_cents = 0.0;  // peak, at 5.5 Hz
  double drift_cents_per_minute = 0.0;
};

/// A line of decaying plucks of ten partials. Stiff strings after Fletcher, "Normal vibration
/// frequencies of a stiff piano string", JASA 36, 1964.
std::vector<float> play(const std::vector<int>& midi, double a4_hz, const String& string,
                        double note_seconds = 0.5) {
  const auto note_samples = static_cast<std::size_t>(note_seconds * analysis_rate_hz);
  std::vector<float> sound(midi.size() * note_samples);
  std::vector<double> phase(11);
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const std::size_t note = n / note_samples;
    const double seconds = static_cast<double>(n % note_samples) / analysis_rate_hz;
    const double since_start = static_cast<double>(n) / analysis_rate_hz;
    const double cents =
        string.vibrato_cents * std::sin(2.0 * std::numbers::pi * 5.5 * since_start) +
        string.drift_cents_per_minute * since_start / 60.0;
    const double f0 = a4_hz * std::exp2((midi[note] - 69.0) / 12.0 + cents / 1200.0);
    double value = 0.0;
    for (int k = 1; k <= 10; ++k) {
      const double hz = k * f0 * std::sqrt(1.0 + string.stiffness * k * k);
      double& turn = phase[static_cast<std::size_t>(k)];
      turn += hz / analysis_rate_hz;
      turn -= std::floor(turn);
      value += std::sin(2.0 * std::numbers::pi * turn) * std::exp(-2.0 * seconds) / k;
    }
    sound[n] = static_cast<float>(0.1 * value);
  }
  return sound;
}

const std::vector<int> line{28, 31, 33, 35, 36, 38, 40, 41, 43, 40, 38, 34, 33, 32, 31, 29,
                            28, 35, 40, 44, 45, 47, 48, 36, 30, 37, 42, 39, 34, 33, 29, 28};

double cents_off(const std::optional<TuningEstimate>& estimate, double a4_hz) {
  if (!estimate) return std::numeric_limits<double>::infinity();
  return 1200.0 * std::log2(estimate->a4_hz / a4_hz);
}

std::optional<TuningEstimate> estimate_tuning(const std::vector<float>& sound) {
  TuningEstimator estimator;
  estimator.process(sound);
  return estimator.finish();
}

TEST(TuningEstimator, finds_a4_within_half_a_cent) {
  // 415.3 Hz is a semitone flat: the nearest reading is 440 again.
  for (const double a4 : {430.0, 436.2, 440.0, 442.0, 451.5}) {
    EXPECT_NEAR(cents_off(estimate_tuning(play(line, a4, {})), a4), 0.0, 0.5) << a4;
  }
}

TEST(TuningEstimator, is_not_pulled_by_stiff_strings) {
  // The tenth partial lies 4.3 and 8.6 cents above a whole multiple.
  for (const double stiffness : {5e-5, 1e-4}) {
    EXPECT_NEAR(cents_off(estimate_tuning(play(line, 445.0, {.stiffness = stiffness})), 445.0), 0.0,
                1.5)
        << stiffness;
  }
}

TEST(TuningEstimator, stands_a_vibrato) {
  EXPECT_NEAR(cents_off(estimate_tuning(play(line, 437.0, {.vibrato_cents = 12.0})), 437.0), 0.0,
              1.5);
}

TEST(TuningEstimator, follows_a_slow_tape) {
  std::vector<int> long_line;
  for (int i = 0; i < 4; ++i) long_line.insert(long_line.end(), line.begin(), line.end());
  const auto estimate = estimate_tuning(play(long_line, 440.0, {.drift_cents_per_minute = 12.0}));
  ASSERT_TRUE(estimate.has_value());
  EXPECT_NEAR(estimate->drift_cents_per_minute, 12.0, 2.0);
  // 64 s: half-way through the tape has moved by 6.4 cents.
  EXPECT_NEAR(1200.0 * std::log2(estimate->a4_hz / 440.0), 6.4, 1.0);
  const auto steady = estimate_tuning(play(long_line, 440.0, {}));
  ASSERT_TRUE(steady.has_value());
  EXPECT_NEAR(steady->drift_cents_per_minute, 0.0, 0.5);
}

TEST(TuningEstimator, has_no_answer_without_tones) {
  EXPECT_FALSE(estimate_tuning({}).has_value());
  EXPECT_FALSE(estimate_tuning(std::vector<float>(100'000, 0.0F)).has_value());
  EXPECT_FALSE(estimate_tuning(std::vector<float>(100'000, 1.0F)).has_value()) << "DC";
  EXPECT_FALSE(estimate_tuning(std::vector<float>(100'000, std::numeric_limits<float>::quiet_NaN()))
                   .has_value());
  for (const unsigned seed : {1U, 2U, 3U}) {
    std::mt19937 generator(seed);
    std::normal_distribution<float> normal(0.0F, 0.1F);
    std::vector<float> noise(220'500);
    for (float& sample : noise) sample = normal(generator);
    EXPECT_FALSE(estimate_tuning(noise).has_value()) << "noise, seed " << seed;
  }
}

TEST(TuningEstimator, does_not_care_about_level_or_a_bad_sample) {
  auto sound = play(line, 443.0, {});
  const auto expected = estimate_tuning(sound);
  for (float& sample : sound) sample *= 0.001F;
  EXPECT_NEAR(cents_off(estimate_tuning(sound), expected->a4_hz), 0.0, 0.05);
  sound[50'000] = std::numeric_limits<float>::infinity();
  EXPECT_NEAR(cents_off(estimate_tuning(sound), expected->a4_hz), 0.0, 0.1);
}

TEST(TuningEstimator, gives_the_same_for_any_block_size) {
  const auto sound = play(line, 438.0, {});
  const auto whole = estimate_tuning(sound);
  for (const std::size_t block : {1UL, 64UL, 480UL, 4096UL}) {
    TuningEstimator estimator;
    for (std::size_t begin = 0; begin < sound.size(); begin += block) {
      estimator.process(std::span(sound).subspan(begin, std::min(block, sound.size() - begin)));
    }
    EXPECT_EQ(estimator.finish(), whole) << block;
  }
}

}  // namespace
}  // namespace lowstride::dsp
