#include "dsp/rhythm/beat_evidence.hpp"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "dsp/rhythm/beat_decoder.hpp"

namespace lowstride::dsp {
namespace {

/// Decaying tones of 55 Hz with two overtones, one a beat.
std::vector<float> struck_tones(double bpm, std::size_t count, double gain) {
  const double interval = 60.0 / bpm;
  std::vector<float> sound(
      static_cast<std::size_t>((static_cast<double>(count) * interval + 1.0) * analysis_rate_hz));
  for (std::size_t i = 0; i < count; ++i) {
    const auto begin =
        static_cast<std::size_t>((0.5 + static_cast<double>(i) * interval) * analysis_rate_hz);
    for (std::size_t n = 0; n < static_cast<std::size_t>(0.4 * analysis_rate_hz); ++n) {
      if (begin + n >= sound.size()) break;
      const double t = static_cast<double>(n) / analysis_rate_hz;
      double value = 0.0;
      for (int h = 1; h <= 3; ++h) value += std::sin(2.0 * std::numbers::pi * 55.0 * h * t) / h;
      sound[begin + n] += static_cast<float>(gain * value * std::exp(-8.0 * t));
    }
  }
  return sound;
}

Evidence listen(std::span<const float> sound, std::size_t block) {
  BeatEvidence listener;
  for (std::size_t i = 0; i < sound.size(); i += block) {
    listener.process(sound.subspan(i, std::min(block, sound.size() - i)));
  }
  Evidence evidence;
  listener.finish(sound.size() / evidence_hop_samples + 1, evidence);
  return evidence;
}

TEST(BeatEvidence, supports_struck_tones_at_any_level_within_a_frame_or_two) {
  for (const double gain : {0.5, 0.005}) {
    const auto evidence = listen(struck_tones(120.0, 20, gain), 4096);
    for (std::size_t i = 0; i < 20; ++i) {
      const auto frame =
          static_cast<std::size_t>(std::lround(seconds_frame(0.5 + 0.5 * static_cast<double>(i))));
      float nearest = 0.0F;
      for (std::size_t f = frame - 2; f <= frame + 2; ++f) {
        nearest = std::max(nearest, evidence.beat[f]);
      }
      EXPECT_GT(nearest, 0.5F) << "beat " << i << ", gain " << gain;
      EXPECT_LT(evidence.beat[frame + 20], 0.2F);
    }
  }
}

TEST(BeatEvidence, does_not_depend_on_how_the_sound_is_cut) {
  const auto sound = struck_tones(97.0, 8, 0.3);
  const auto whole = listen(sound, sound.size());
  for (const std::size_t block : {1U, 64U, 480U, 4096U}) EXPECT_EQ(listen(sound, block), whole);
}

TEST(BeatEvidence, of_silence_and_of_a_steady_level_has_no_pulse) {
  for (const float level : {0.0F, 0.5F}) {
    const auto evidence =
        listen(std::vector<float>(static_cast<std::size_t>(10 * 22050), level), 4096);
    EXPECT_TRUE(decode_beats(evidence, {}).beats.empty()) << level;
  }
}

}  // namespace
}  // namespace lowstride::dsp
