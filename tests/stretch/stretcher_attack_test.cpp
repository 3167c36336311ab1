#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "tests/stretch/signals.hpp"

namespace lowstride {
namespace {

constexpr std::array<double, 6> onsets_seconds{0.31, 0.72, 1.13, 1.71, 2.05, 2.63};

std::size_t at(double seconds) { return static_cast<std::size_t>(seconds * test::rate_hz); }

class Attacks : public testing::TestWithParam<double> {};

// Within 2 ms two attacks are heard as one (about 2 to 3 ms; common practice of mixing).
TEST_P(Attacks, stand_whole_at_their_stretched_place) {
  const double speed = GetParam();
  const auto in = test::clicks(onsets_seconds, 3.0);
  const auto out = test::stretched({in}, speed).front();
  for (const double onset : onsets_seconds) {
    const std::size_t before = test::attack_place(in, at(onset - 0.05), at(onset + 0.05));
    const double centre = onset / speed;
    const std::size_t after = test::attack_place(out, at(centre - 0.08), at(centre + 0.08));
    const double wanted =
        onset * test::rate_hz / speed + static_cast<double>(before) - onset * test::rate_hz;
    EXPECT_NEAR((static_cast<double>(after) - wanted) / test::rate_hz, 0.0, 0.001) << onset;
    // As loud as it was, and as short.
    const auto span_in = std::span<const float>(in).subspan(before, at(0.01));
    const auto span_out = std::span<const float>(out).subspan(after, at(0.01));
    EXPECT_NEAR(10.0 * std::log10(test::energy(span_out) / test::energy(span_in)), 0.0, 0.5);
  }
}

TEST_P(Attacks, nothing_is_heard_before_them) {
  const double speed = GetParam();
  const auto out = test::stretched({test::clicks(onsets_seconds, 3.0)}, speed).front();
  for (const double onset : onsets_seconds) {
    const std::size_t place = at(onset / speed);
    const auto early = std::span<const float>(out).subspan(place - at(0.06), at(0.056));
    const auto hit = std::span<const float>(out).subspan(place, at(0.03));
    EXPECT_LT(10.0 * std::log10(test::energy(early) / test::energy(hit)), -40.0) << onset;
  }
}

INSTANTIATE_TEST_SUITE_P(Speeds, Attacks, testing::Values(0.25, 1.0 / 3.0, 0.5, 0.7, 0.9, 1.25));

// An attack over a held low note: the note goes on as if nothing had happened.
TEST(Stretcher, a_held_low_note_is_not_broken_by_a_hit) {
  const auto tone = test::steady_tone(test::e1_hz, 3.0);
  auto hits = test::clicks(onsets_seconds, 3.0);
  // Fourth difference: nothing of the hit is left where the tone is (24 dB an octave).
  for (int order = 0; order < 4; ++order) {
    for (std::size_t n = hits.size() - 1; n > 0; --n) hits[n] = 0.5F * (hits[n] - hits[n - 1]);
  }
  auto both = tone;
  for (std::size_t n = 0; n < both.size(); ++n) both[n] += 2.0F * hits[n];
  const auto out = test::stretched({both}, 0.5).front();
  for (const int partial : {1, 2, 3}) {
    EXPECT_LT(test::modulation_depth(out, {test::e1_hz * partial, test::e1_hz}), 0.01) << partial;
  }
}

// A drum shares its frequencies with the note, so the low band starts anew at each hit; partials
// that sound on keep their phase through it. Set back to their own phase they fall to 0.2 of their
// level for a moment.
TEST(Stretcher, a_held_note_sounds_on_through_a_drum) {
  constexpr double hz = 113.73;
  auto both = test::steady_tone(hz, 3.0, 4);
  const auto skin = test::noise(at(0.25), 13);
  for (const double onset : {0.8131, 1.3077, 1.6213, 2.1099}) {
    for (std::size_t n = 0; n < skin.size(); ++n) {
      const double t = static_cast<double>(n) / test::rate_hz;
      const double body = 0.4 * std::sin(2.0 * std::numbers::pi * 60.0 * t) * std::exp(-t / 0.05);
      const double rattle = 0.3 * static_cast<double>(skin[n]) * std::exp(-t / 0.03);
      both[at(onset) + n] += static_cast<float>(body + rattle);
    }
  }
  const auto out = test::stretched({both}, 0.5).front();
  for (const int partial : {1, 2}) {
    EXPECT_GT(test::lowest_level(out, {hz * partial, hz}), 0.5) << partial;
  }
}

TEST(Stretcher, first_and_last_attack_are_whole) {
  auto in = test::noise(at(1.0), 9);
  for (std::size_t n = 0; n < in.size(); ++n) {
    const std::size_t since = n < in.size() - at(0.02) ? n : n - (in.size() - at(0.02));
    in[n] *=
        0.8F * static_cast<float>(std::exp(-static_cast<double>(since) / test::rate_hz / 0.004));
  }
  const auto out = test::stretched({in}, 0.5).front();
  ASSERT_EQ(out.size(), 2 * in.size());
  for (std::size_t n = 0; n < at(0.012); ++n) ASSERT_NEAR(out[n], in[n], 1e-3) << n;
  const double last_in = test::energy(std::span<const float>(in).last(at(0.02)));
  const std::size_t place = out.size() - 2 * at(0.02);
  const auto last = std::span<const float>(out).subspan(place, at(0.02));
  EXPECT_NEAR(10.0 * std::log10(test::energy(last) / last_in), 0.0, 0.5);
}

}  // namespace
}  // namespace lowstride
