#include "src/sheet/quantise.hpp"

#include <random>

#include <gtest/gtest.h>

namespace lowstride::sheet {
namespace {

QuantisedBeat written(const std::vector<double>& shares, double seconds = 0.5,
                      double long_share = 0.5) {
  return quantise_beat(shares, seconds, long_share);
}

using Tatums = std::vector<int>;

TEST(Quantise, clear_cases_are_written_as_they_are_played) {
  EXPECT_EQ(written({0.02}).onset_tatums, Tatums{0});
  EXPECT_EQ(written({0.0, 0.52}).onset_tatums, (Tatums{0, 6}));
  EXPECT_EQ(written({0.01, 0.34, 0.66}).onset_tatums, (Tatums{0, 4, 8}));
  EXPECT_EQ(written({0.0, 0.26, 0.49, 0.76}).onset_tatums, (Tatums{0, 3, 6, 9}));
  EXPECT_EQ(written({0.34}).onset_tatums, Tatums{4});
  EXPECT_EQ(written({-0.04, 0.68}).onset_tatums, (Tatums{0, 8}));
  EXPECT_EQ(written({}).onset_tatums, Tatums{});
}

// In a take that swings, anything from even to its long share is the second half of the beat.
TEST(Quantise, swung_pairs_are_halves_and_triplets_stay_triplets) {
  constexpr double long_share = 2.0 / 3.0;
  for (const double off_beat : {0.5, 0.55, 0.6, 0.64, 0.667, 0.69}) {
    const auto pair = written({0.0, off_beat}, 0.5, long_share);
    EXPECT_EQ(pair.division, Division::halves) << off_beat;
    EXPECT_EQ(pair.onset_tatums, (Tatums{0, 6})) << off_beat;
  }
  const auto triplet = written({0.0, 0.33, 0.67}, 0.5, long_share);
  EXPECT_EQ(triplet.division, Division::thirds);
  EXPECT_EQ(triplet.onset_tatums, (Tatums{0, 4, 8}));
  EXPECT_DOUBLE_EQ(straightened(long_share, long_share), 0.5);
  EXPECT_DOUBLE_EQ(straightened(0.0, long_share), 0.0);
  EXPECT_DOUBLE_EQ(straightened(1.0, long_share), 1.0);
}

TEST(Quantise, never_puts_two_onsets_on_one_slot) {
  EXPECT_EQ(written({0.0, 0.01}).onset_tatums.size(), 2U);
  const auto many = written({0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99});
  ASSERT_EQ(many.onset_tatums.size(), 12U);
  for (std::size_t i = 0; i < many.onset_tatums.size(); ++i) {
    EXPECT_EQ(many.onset_tatums[i], static_cast<int>(i));
  }
}

// Players' onsets scatter by about 21 ms about the beat (published for 34 trios). Beats written
// from known rhythms with that scatter are read back.
TEST(Quantise, reads_rhythms_through_a_players_scatter) {
  struct Rhythm {
    std::vector<double> shares;
    Tatums tatums;
    double long_share;
  };
  constexpr double swung = 0.643;  // 1.8 : 1
  const std::vector<Rhythm> rhythms{{{0.0}, {0}, 0.5},
                                    {{0.0, 0.5}, {0, 6}, 0.5},
                                    {{0.0, swung}, {0, 6}, swung},
                                    {{0.0, 1.0 / 3, 2.0 / 3}, {0, 4, 8}, 0.5},
                                    {{0.0, 1.0 / 3, 2.0 / 3}, {0, 4, 8}, swung}};
  constexpr unsigned seed = 4;
  std::mt19937 random(seed);
  for (const double seconds : {0.3, 0.5, 0.8}) {
    std::normal_distribution<double> scatter(0.0, 0.021 / seconds);
    for (const Rhythm& rhythm : rhythms) {
      int right = 0;
      constexpr int beat_count = 400;
      for (int i = 0; i < beat_count; ++i) {
        std::vector<double> shares;
        for (const double share : rhythm.shares) shares.push_back(share + scatter(random));
        if (quantise_beat(shares, seconds, rhythm.long_share).onset_tatums == rhythm.tatums) {
          ++right;
        }
      }
      EXPECT_GE(right, beat_count * 95 / 100)
          << rhythm.shares.size() << " onsets in " << seconds << " s, seed " << seed;
    }
  }
}

}  // namespace
}  // namespace lowstride::sheet
