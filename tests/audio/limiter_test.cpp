#include "src/audio/limiter.hpp"

#include <cmath>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

/// Everything through a limiter in blocks, without its delay.
Planes limit(Limiter& limiter, const Planes& source, std::size_t block_samples) {
  const std::size_t delay = limiter.latency_samples();
  Planes padded = source;
  for (auto& plane : padded) plane.resize(plane.size() + delay, 0.0F);
  std::vector<float*> pointers(padded.size());
  for (std::size_t begin = 0; begin < padded[0].size(); begin += block_samples) {
    const std::size_t count = std::min(block_samples, padded[0].size() - begin);
    for (std::size_t c = 0; c < padded.size(); ++c) pointers[c] = padded[c].data() + begin;
    limiter.process({pointers, count});
  }
  for (auto& plane : padded) plane.erase(plane.begin(), plane.begin() + static_cast<int>(delay));
  return padded;
}

TEST(Limiter, what_is_within_full_scale_passes_unchanged) {
  const Planes source = sine(2, 20000, 77.7, 1.0F);
  Limiter limiter({});
  EXPECT_EQ(limit(limiter, source, 512), source);
  EXPECT_FALSE(limiter.has_limited());
}

TEST(Limiter, no_peak_passes_full_scale_and_quiet_parts_come_back_untouched) {
  Planes source = sine(2, 200000, 401.3, 0.5F);
  for (std::size_t i = 50000; i < 60000; ++i) source[0][i] *= 3.7F;
  source[1][120000] = -9.0F;
  Limiter limiter({});
  const Planes got = limit(limiter, source, 512);
  for (const auto& plane : got) {
    for (const float value : plane) ASSERT_LE(std::abs(value), 1.0F);
  }
  EXPECT_TRUE(limiter.has_limited());
  // More than the look-ahead before the first peak, nothing happens.
  for (std::size_t i = 0; i < 49000; ++i) ASSERT_EQ(got[1][i], source[1][i]) << i;
  // Both channels are turned down alike, so that nothing moves in the stereo field.
  for (std::size_t i = 50000; i < 60000; i += 7) {
    ASSERT_NEAR(got[0][i] * source[1][i], got[1][i] * source[0][i], 1e-6F);
  }
  // Two seconds later the gain is one again.
  EXPECT_NEAR(got[1][199000], source[1][199000], 1e-4F);
}

TEST(Limiter, the_gain_moves_without_a_step) {
  Planes source(1, std::vector<float>(40000, 0.25F));
  source[0][20000] = 2.0F;
  Limiter limiter({.channel_count = 1});
  const Planes got = limit(limiter, source, 4096);
  for (std::size_t i = 1; i < 40000; ++i) {
    if (i == 20000 || i == 20001) continue;
    // The gain falls by 1/2 within 240 samples: 1/480 of 0.25 a sample at most, with room.
    ASSERT_LE(std::abs(got[0][i] - got[0][i - 1]), 0.25F / 300.0F) << i;
  }
  EXPECT_NEAR(got[0][20000], 1.0F, 1e-3F);
}

TEST(Limiter, blocks_and_reset_change_nothing) {
  Planes source = sine(2, 30000, 91.0, 2.0F);
  source[0][5000] = NAN;
  Limiter limiter({});
  const Planes first = limit(limiter, source, 4096);
  limiter.reset();
  EXPECT_EQ(limit(limiter, source, 1), first);
  limiter.reset();
  EXPECT_EQ(limit(limiter, source, 480), first);
  for (const float value : first[0]) ASSERT_TRUE(std::isfinite(value));
}

TEST(Limiter, an_impulse_comes_out_after_its_latency) {
  Limiter limiter({.sample_rate_hz = 8000.0, .channel_count = 1});
  std::vector<float> block(200, 0.0F);
  block[3] = 0.5F;
  float* pointer = block.data();
  limiter.process({std::span(&pointer, 1), block.size()});
  EXPECT_EQ(block[3 + limiter.latency_samples()], 0.5F);
}

}  // namespace
}  // namespace lowstride::audio
