#include "dsp/pitch/low_pitch_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/pitch/note_decoder.hpp"
#include "tests/pitch/plucked_line.hpp"

namespace lowstride::dsp {
namespace {

Evidence listen(const std::vector<float>& sound, std::size_t block = 4096) {
  LowPitchEvidence listener({.gain = 1.0F});
  for (std::size_t begin = 0; begin < sound.size(); begin += block) {
    listener.process(
        std::span<const float>(sound).subspan(begin, std::min(block, sound.size() - begin)));
  }
  Evidence evidence;
  listener.finish(evidence);
  return evidence;
}

std::vector<float> noise(double seconds, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> uniform(-0.2F, 0.2F);
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  std::ranges::generate(sound, [&] { return uniform(random); });
  return sound;
}

// 50 ms: what counts as found in MIREX note tracking and in mir_eval (Raffel et al., ISMIR 2014).
TEST(LowPitchEvidence, hears_every_semitone_from_e1_to_g4_and_when_it_is_struck) {
  std::vector<PluckedNote> line;
  for (int midi = 28; midi <= 67; ++midi) {
    // Steps of seven semitones within the range, so that neighbours share few partials.
    const double begin = 0.3 + 0.5 * static_cast<double>(midi - 28);
    line.push_back({begin, begin + 0.45, 28.0 + (midi - 28) * 7 % 40});
  }
  const Evidence evidence = listen(play_plucked(line, 21.0));
  const auto notes = decode_notes(evidence, {});
  ASSERT_EQ(notes.size(), line.size());
  for (std::size_t i = 0; i < line.size(); ++i) {
    EXPECT_EQ(notes[i].midi, static_cast<int>(line[i].midi)) << "note " << i;
    EXPECT_NEAR(notes[i].onset_seconds, line[i].onset_seconds, 0.05) << "note " << i;
  }
}

TEST(LowPitchEvidence, is_a_probability_in_every_frame) {
  const Evidence evidence = listen(play_plucked({{0.2, 0.7, 33}}, 1.0));
  ASSERT_EQ(evidence.frame_count(), 22050U / evidence_hop_samples + 1);
  ASSERT_EQ(evidence.onset.row_count(), evidence.frame_count());
  for (std::size_t t = 0; t < evidence.frame_count(); ++t) {
    float sum = 0.0F;
    for (const float value : evidence.pitch.row(t)) {
      EXPECT_GE(value, 0.0F);
      sum += value;
    }
    EXPECT_NEAR(sum, 1.0F, 1e-4F);
    for (const float value : evidence.onset.row(t)) EXPECT_TRUE(value >= 0.0F && value <= 1.0F);
  }
}

TEST(LowPitchEvidence, finds_no_line_in_silence_direct_current_and_noise) {
  EXPECT_TRUE(decode_notes(listen(std::vector<float>(44100, 0.0F)), {}).empty());
  EXPECT_TRUE(decode_notes(listen(std::vector<float>(44100, 0.3F)), {}).empty());
  EXPECT_TRUE(decode_notes(listen(noise(5.0, 7)), {}).empty());
  EXPECT_TRUE(decode_notes(listen({}), {}).empty());
}

TEST(LowPitchEvidence, does_not_depend_on_how_the_sound_is_cut) {
  std::vector<float> sound = play_plucked({{0.1, 0.4, 40}, {0.4, 0.9, 45}}, 1.0);
  const Evidence whole = listen(sound, sound.size());
  for (const std::size_t block : {1U, 64U, 480U, 4096U}) {
    EXPECT_EQ(listen(sound, block), whole) << "blocks of " << block;
  }
}

TEST(LowPitchEvidence, takes_samples_that_are_not_finite_as_silence) {
  std::vector<float> sound = play_plucked({{0.1, 0.4, 40}}, 0.5);
  std::vector<float> holes = sound;
  sound[1000] = 0.0F;
  holes[1000] = std::numeric_limits<float>::quiet_NaN();
  EXPECT_EQ(listen(holes), listen(sound));
}

}  // namespace
}  // namespace lowstride::dsp
