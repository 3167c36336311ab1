#include "dsp/learned/listener.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "tests/learned/made_up_weights.hpp"

namespace lowstride::dsp {
namespace {

/// A struck tone every half second, at changing pitch.
std::vector<float> line(double seconds, double level = 0.1) {
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double time = static_cast<double>(n) / analysis_rate_hz;
    const double since = std::fmod(time, 0.5);
    const double hz = 55.0 * std::exp2(std::floor(std::fmod(time, 4.0) * 2.0) / 12.0);
    double value = 0.0;
    for (int k = 1; k < 6; ++k) value += std::sin(2.0 * std::numbers::pi * hz * k * since) / k;
    sound[n] = static_cast<float>(level * value * std::exp(-3.0 * since));
  }
  return sound;
}

SurveyResult survey(const std::vector<float>& sound) {
  Survey survey;
  survey.process(sound);
  return survey.finish();
}

Evidence listen(const std::vector<float>& sound, std::size_t block_samples = 100'000'000) {
  Listener listener(made_up_weights(), survey(sound));
  for (std::size_t begin = 0; begin < sound.size(); begin += block_samples) {
    listener.process(
        std::span(sound).subspan(begin, std::min(block_samples, sound.size() - begin)));
  }
  return listener.finish();
}

void expect_probabilities(const Evidence& evidence, std::size_t sample_count) {
  const std::size_t frames = sample_count / evidence_hop_samples + 1;
  ASSERT_EQ(evidence.frame_count(), frames);
  ASSERT_EQ(evidence.onset.row_count(), frames);
  ASSERT_EQ(evidence.dead.size(), frames);
  ASSERT_EQ(evidence.beat.size(), frames);
  ASSERT_EQ(evidence.downbeat.size(), frames);
  ASSERT_EQ(evidence.chord.row_count(), (frames + 7) / 8);
  ASSERT_EQ(evidence.chord_bass.row_count(), (frames + 7) / 8);
  const auto check_rows = [](const ProbabilityTable& table) {
    for (std::size_t i = 0; i < table.row_count(); ++i) {
      float sum = 0.0F;
      for (const float value : table.row(i)) {
        ASSERT_TRUE(value >= 0.0F && value <= 1.0F);
        sum += value;
      }
      ASSERT_NEAR(sum, 1.0F, 2e-3F);  // 169 values, each rounded by up to 8e-6
    }
  };
  check_rows(evidence.pitch);
  check_rows(evidence.chord);
  check_rows(evidence.chord_bass);
  for (const auto& values : {evidence.beat, evidence.downbeat, evidence.dead}) {
    for (const float value : values) ASSERT_TRUE(value >= 0.0F && value <= 1.0F);
  }
  for (std::size_t t = 0; t < frames; ++t) {
    for (const float value : evidence.onset.row(t)) ASSERT_TRUE(value >= 0.0F && value <= 1.0F);
  }
  ASSERT_TRUE(evidence.guitar_share >= 0.0 && evidence.guitar_share <= 1.0);
}

TEST(Survey, measures_level_and_counts_bad_samples) {
  // A square wave of 0.5: its RMS is 0.5; two of 22050 samples are not numbers and count as zero.
  std::vector<float> sound(22050);
  for (std::size_t n = 0; n < sound.size(); ++n) sound[n] = (n / 100) % 2 == 0 ? 0.5F : -0.5F;
  sound[100] = std::numeric_limits<float>::quiet_NaN();
  sound[200] = -std::numeric_limits<float>::infinity();
  const SurveyResult result = survey(sound);
  EXPECT_EQ(result.sample_count, 22050U);
  EXPECT_EQ(result.bad_sample_count, 2U);
  EXPECT_NEAR(result.rms, 0.5 * std::sqrt(22048.0 / 22050.0), 1e-9);
  EXPECT_FALSE(result.is_silent);
}

TEST(Survey, finds_nothing_in_silence) {
  for (const std::size_t samples : {0UL, 1UL, 300'000UL}) {
    const SurveyResult result = survey(std::vector<float>(samples));
    EXPECT_TRUE(result.is_silent);
    EXPECT_FALSE(result.tuning.has_value());
    EXPECT_FALSE(result.hum.has_value());
    EXPECT_EQ(result.sample_count, samples);
  }
}

TEST(Survey, does_not_care_how_the_sound_is_cut) {
  const auto sound = line(22.0);
  const SurveyResult whole = survey(sound);
  for (const std::size_t block : {1UL, 64UL, 480UL, 4096UL}) {
    Survey pieces;
    for (std::size_t begin = 0; begin < sound.size(); begin += block) {
      pieces.process(std::span(sound).subspan(begin, std::min(block, sound.size() - begin)));
    }
    EXPECT_EQ(pieces.finish(), whole) << block;
  }
}

TEST(Listener, gives_evidence_of_every_frame_and_no_frame_without_sound) {
  EXPECT_EQ(listen({}).frame_count(), 0U);
  EXPECT_TRUE(listen({}).beat.empty());
  for (const std::size_t samples : {1UL, 255UL, 256UL, 2000UL, 50'000UL}) {
    SCOPED_TRACE(samples);
    auto sound = line(3.0);
    sound.resize(samples);
    expect_probabilities(listen(sound), samples);
  }
}

TEST(Listener, gives_the_same_bits_for_any_block_size) {
  auto sound = line(9.0);
  const Evidence whole = listen(sound);
  expect_probabilities(whole, sound.size());
  for (const std::size_t block : {1UL, 64UL, 480UL, 4096UL}) {
    EXPECT_EQ(listen(sound, block), whole) << block;
  }
}

TEST(Listener, does_not_care_about_the_level) {
  const auto loud = listen(line(3.0, 0.3));
  const auto soft = listen(line(3.0, 0.003));
  for (std::size_t t = 0; t < loud.frame_count(); ++t) {
    for (std::size_t p = 0; p <= evidence_pitch_count; ++p) {
      ASSERT_NEAR(loud.pitch.at(t, p), soft.pitch.at(t, p), 1e-4F);
    }
  }
}

TEST(Listener, stays_finite_whatever_comes) {
  std::vector<float> silence(30'000);
  expect_probabilities(listen(silence), silence.size());
  std::vector<float> constant(30'000, 1.0F);
  expect_probabilities(listen(constant), constant.size());
  auto square = line(2.0);
  for (float& sample : square) sample = sample > 0.0F ? 1.0F : -1.0F;
  expect_probabilities(listen(square), square.size());
  auto bad = line(2.0);
  for (std::size_t n = 5000; n < 6000; ++n) bad[n] = std::numeric_limits<float>::quiet_NaN();
  bad[9000] = std::numeric_limits<float>::infinity();
  expect_probabilities(listen(bad), bad.size());
}

TEST(Listener, stands_on_the_measured_tuning) {
  const auto sound = line(12.0);  // A1 at 55 Hz
  EXPECT_NEAR(1200.0 * std::log2(listen(sound).a4_hz / 440.0), 0.0, 1.5);
}

}  // namespace
}  // namespace lowstride::dsp
