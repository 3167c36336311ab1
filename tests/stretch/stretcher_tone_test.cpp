#include <cmath>
#include <tuple>

#include <gtest/gtest.h>

#include "tests/stretch/signals.hpp"

// Low notes through the stretcher. Bounds are those of the ear: a cent is a fifth of the smallest
// step that players hear on a bass (about 5 cents; common practice), and modulation under 0.5 % is
// inaudible (about 4 % is the threshold at 4 Hz; Zwicker & Fastl, "Psychoacoustics", 10.2, from
// memory).

namespace lowstride {
namespace {

double cents(double hz, double wanted_hz) { return 1200.0 * std::log2(hz / wanted_hz); }

class LowNote : public testing::TestWithParam<std::tuple<double, double>> {};

TEST_P(LowNote, steady_keeps_its_pitch_and_does_not_wobble) {
  const auto [f0_hz, speed] = GetParam();
  const auto out = test::stretched({test::steady_tone(f0_hz, 3.0)}, speed).front();
  for (const int partial : {1, 2, 5, 8}) {
    const double hz = f0_hz * partial;
    EXPECT_NEAR(cents(test::partial_hz(out, {hz, f0_hz}), hz), 0.0, 0.2) << "partial " << partial;
    EXPECT_LT(test::modulation_depth(out, {hz, f0_hz}), 0.005) << "partial " << partial;
  }
}

TEST_P(LowNote, plucked_keeps_its_pitch) {
  const auto [f0_hz, speed] = GetParam();
  const auto out = test::stretched({test::plucked_tone(f0_hz, 0.1, 3.0)}, speed).front();
  for (const int partial : {1, 2, 4}) {
    const double hz = f0_hz * partial;
    EXPECT_NEAR(cents(test::partial_hz(out, {hz, f0_hz}), hz), 0.0, 1.0) << "partial " << partial;
  }
}

INSTANTIATE_TEST_SUITE_P(OpenStrings, LowNote,
                         testing::Combine(testing::Values(test::b0_hz, test::e1_hz, test::a1_hz,
                                                          test::e2_hz),
                                          testing::Values(0.25, 0.5, 2.0 / 3.0, 0.8, 1.25)));

// Equal temperament: a semitone is 2^(1/12), so E1 goes to B1 (7 semitones), 61.735 Hz.
TEST(Stretcher, shifts_pitch_and_keeps_the_speed) {
  const auto in = test::steady_tone(test::e1_hz, 3.0);
  for (const double semitones : {-12.0, -1.0, 0.5, 7.0, 12.0}) {
    const double pitch_ratio = std::exp2(semitones / 12.0);
    const auto out = test::stretched({in}, 1.0, pitch_ratio).front();
    EXPECT_EQ(out.size(), in.size());
    const double wanted_hz = 2.0 * test::e1_hz * pitch_ratio;
    EXPECT_NEAR(cents(test::partial_hz(out, {wanted_hz, 0.5 * wanted_hz}), wanted_hz), 0.0, 1.0)
        << semitones;
    EXPECT_LT(test::modulation_depth(out, {wanted_hz, 0.5 * wanted_hz}), 0.01) << semitones;
    EXPECT_NEAR(10.0 * std::log10(test::energy(out) / test::energy(in)), 0.0, 0.3) << semitones;
  }
}

TEST(Stretcher, keeps_the_phase_between_channels) {
  auto left = test::steady_tone(test::a1_hz, 2.0);
  const auto wide = test::noise(left.size(), 11);
  auto right = left;
  for (std::size_t n = 0; n < left.size(); ++n) {
    left[n] += 0.01F * wide[n];
    right[n] -= 0.01F * wide[n];
  }
  const auto out = test::stretched({left, right}, 0.6);
  std::vector<float> middle(out[0].size());
  std::vector<float> side(out[0].size());
  for (std::size_t n = 0; n < middle.size(); ++n) {
    middle[n] = out[0][n] + out[1][n];
    side[n] = out[0][n] - out[1][n];
  }
  // In the middle the tone, at the sides the noise, 30 dB apart as they went in.
  double in_side = 0.0;
  for (const float value : wide) in_side += 4e-4 * static_cast<double>(value * value);
  EXPECT_NEAR(10.0 * std::log10(test::energy(side) * 0.6 / in_side), 0.0, 1.0);
}

}  // namespace
}  // namespace lowstride
