#include "dsp/harmony/chord_priors.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

// FiloBass (arXiv 2311.02023): the bass plays the root on 68 % of changes.
TEST(BassDegree, is_the_root_on_a_change_as_often_as_published_and_sums_to_one) {
  for (std::size_t q = 0; q < chord_quality_count; ++q) {
    const auto quality = static_cast<ChordQuality>(q);
    for (const bool is_change : {false, true}) {
      double sum = 0.0;
      for (int degree = 0; degree < 12; ++degree) {
        sum += std::exp(bass_degree_log_ratio(quality, degree, is_change)) / 12.0;
      }
      EXPECT_NEAR(sum, 1.0, 1e-9);
    }
    EXPECT_NEAR(std::exp(bass_degree_log_ratio(quality, 0, true)) / 12.0, 0.68, 1e-9);
  }
}

// ii-V-I and the tritone substitute for V (common practice; Levine, The Jazz Theory Book, 1995,
// chapters 2 and 12, from memory) are more usual than the same chords moved elsewhere.
TEST(Progression, prefers_ii_v_i_and_its_substitute) {
  const auto d_minor = chord_column(2, ChordQuality::minor_seventh);
  const auto g_seventh = chord_column(7, ChordQuality::dominant_seventh);
  const auto d_flat_seventh = chord_column(1, ChordQuality::dominant_seventh);
  const auto c_major = chord_column(0, ChordQuality::major_seventh);
  const auto f_sharp_major = chord_column(6, ChordQuality::major_seventh);
  const auto a_flat_seventh = chord_column(8, ChordQuality::dominant_seventh);
  EXPECT_GT(progression_log_ratio(d_minor, g_seventh),
            progression_log_ratio(d_minor, a_flat_seventh));
  EXPECT_GT(progression_log_ratio(g_seventh, c_major),
            progression_log_ratio(g_seventh, a_flat_seventh));
  EXPECT_GT(progression_log_ratio(d_flat_seventh, c_major),
            progression_log_ratio(c_major, f_sharp_major));
}

TEST(Key, holds_its_own_chords) {
  const DecodedKey c_major{0, false, 1.0};
  EXPECT_GT(key_log_ratio(c_major, chord_column(7, ChordQuality::dominant_seventh)), 0.9);
  EXPECT_GT(key_log_ratio(c_major, chord_column(2, ChordQuality::minor_seventh)), 0.8);
  EXPECT_EQ(key_log_ratio(c_major, chord_column(6, ChordQuality::minor_seventh)), 0.0);
  const DecodedKey g_minor{7, true, 1.0};
  EXPECT_GT(key_log_ratio(g_minor, chord_column(9, ChordQuality::half_diminished_seventh)), 0.8);
  EXPECT_EQ(key_log_ratio(g_minor, no_chord_column), 0.0);
}

}  // namespace
}  // namespace lowstride::dsp
