#include "dsp/harmony/chord_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

/// Two seconds of tones with five overtones each, falling as 1/h.
std::vector<float> chord_sound(const std::vector<int>& midi, double a4_hz) {
  std::vector<float> sound(2 * 22050);
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double t = static_cast<double>(n) / analysis_rate_hz;
    double value = 0.0;
    for (const int note : midi) {
      const double hz = a4_hz * std::exp2((note - 69) / 12.0);
      for (int h = 1; h <= 6; ++h) value += std::sin(2.0 * std::numbers::pi * hz * h * t) / h;
    }
    sound[n] = static_cast<float>(0.05 * value);
  }
  return sound;
}

Evidence listen(const std::vector<float>& sound, double a4_hz = 440.0, std::size_t block = 4096) {
  ChordEvidence listener(a4_hz);
  for (std::size_t i = 0; i < sound.size(); i += block) {
    listener.process(std::span(sound).subspan(i, std::min(block, sound.size() - i)));
  }
  Evidence evidence;
  listener.finish(sound.size() / evidence_hop_samples + 1, evidence);
  return evidence;
}

std::size_t best_column(const Evidence& evidence, std::size_t row) {
  const auto values = evidence.chord.row(row);
  return static_cast<std::size_t>(std::max_element(values.begin(), values.end()) - values.begin());
}

// Chord tones after Harte et al., ISMIR 2005, table 1, on every root, at A = 440 and 452 Hz.
TEST(ChordEvidence, names_seventh_chords_over_their_root_in_every_key) {
  for (const double a4_hz : {440.0, 452.0}) {
    for (int root = 0; root < 12; ++root) {
      const int low = 36 + root;
      const auto dominant = listen(chord_sound({low, low + 16, low + 19, low + 22}, a4_hz), a4_hz);
      EXPECT_EQ(best_column(dominant, 10), chord_column(root, ChordQuality::dominant_seventh));
      const auto minor = listen(chord_sound({low, low + 15, low + 19, low + 22}, a4_hz), a4_hz);
      EXPECT_EQ(best_column(minor, 10), chord_column(root, ChordQuality::minor_seventh));
      const auto bass = minor.chord_bass.row(10);
      EXPECT_EQ(std::max_element(bass.begin(), bass.end()) - bass.begin(), root);
    }
  }
}

TEST(ChordEvidence, says_no_chord_in_silence) {
  const auto evidence = listen(std::vector<float>(44100, 0.0F));
  for (std::size_t row = 0; row < evidence.chord.row_count(); ++row) {
    EXPECT_GT(evidence.chord.row(row)[no_chord_column], 0.9F);
  }
}

TEST(ChordEvidence, does_not_depend_on_how_the_sound_is_cut) {
  const auto sound = chord_sound({40, 56, 59, 62}, 440.0);
  const auto whole = listen(sound, 440.0, sound.size());
  for (const std::size_t block : {1U, 64U, 480U, 4096U}) {
    EXPECT_EQ(listen(sound, 440.0, block), whole);
  }
}

TEST(ChordEvidence, has_rows_that_sum_to_one) {
  const auto evidence = listen(chord_sound({40, 56, 59, 62}, 440.0));
  for (std::size_t row = 0; row < evidence.chord.row_count(); ++row) {
    float sum = 0.0F;
    for (const float value : evidence.chord.row(row)) sum += value;
    EXPECT_NEAR(sum, 1.0F, 1e-4F);
  }
}

}  // namespace
}  // namespace lowstride::dsp
