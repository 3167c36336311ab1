#include "dsp/rhythm/beat_decoder.hpp"

#include <chrono>
#include <cmath>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/rhythm/evidence_of_beats.hpp"

namespace lowstride::dsp {
namespace {

class SteadyTempo : public testing::TestWithParam<double> {};

// The range that the command promises, ends included; a jazz trio lies between 121 and 276
// (5 to 95 % of 1,294 recordings, Jazz Trio Database).
INSTANTIATE_TEST_SUITE_P(BeatDecoder, SteadyTempo,
                         testing::Values(40.0, 56.0, 88.0, 121.0, 155.0, 193.0, 227.0, 276.0,
                                         320.0));

TEST_P(SteadyTempo, is_found_to_half_a_percent_with_every_beat_within_five_ms) {
  const auto played = steady_beats(GetParam(), 48);
  const auto grid = decode_beats(evidence_of(played, played.back().seconds + 1.0), {});
  ASSERT_EQ(grid.beats.size(), played.size());
  ASSERT_TRUE(grid.tempo_bpm);
  EXPECT_NEAR(*grid.tempo_bpm, GetParam(), 0.005 * GetParam());
  EXPECT_EQ(share_found(played, grid.beats, 0.005), 1.0);
  EXPECT_EQ(grid.beats_per_bar, 4);
  EXPECT_EQ(grid.beats.front().bar, 1);
  EXPECT_EQ(grid.beats.front().beat, 1);
  EXPECT_EQ(grid.beats.back().bar, 12);
  EXPECT_EQ(grid.beats.back().beat, 4);
}

TEST(BeatDecoder, follows_a_ritardando_to_two_thirds_of_the_tempo) {
  std::vector<PlayedBeat> played;
  double seconds = 0.4;
  for (int i = 0; i < 64; ++i) {
    played.push_back({seconds, i % 4 == 0, true});
    seconds += 60.0 / (150.0 - 50.0 * i / 63.0);
  }
  const auto grid = decode_beats(evidence_of(played, seconds + 0.5), {});
  EXPECT_EQ(grid.beats.size(), played.size());
  EXPECT_EQ(share_found(played, grid.beats, 0.010), 1.0);
}

// Jazz Trio Database: intervals vary by 4.8 % within a track, neighbours by 15 ms.
TEST(BeatDecoder, follows_players_who_scatter_as_much_as_real_trios) {
  std::mt19937 random(20);
  std::normal_distribution<double> scatter(0.0, 0.015);
  std::normal_distribution<double> drift(0.0, 0.004);
  std::vector<PlayedBeat> played;
  double seconds = 0.4;
  double interval = 0.31;
  for (int i = 0; i < 160; ++i) {
    played.push_back({seconds + scatter(random), i % 4 == 0, true});
    interval = std::clamp(interval + drift(random), 0.28, 0.35);
    seconds += interval;
  }
  const auto grid = decode_beats(evidence_of(played, seconds + 0.5), {});
  EXPECT_NEAR(static_cast<double>(grid.beats.size()), 160.0, 1.0);
  EXPECT_GE(share_found(played, grid.beats, 0.020), 0.98);
}

// What the nets give for a fast line without drums: every beat, the second and fourth weaker, the
// players' scatter about each. Half the tempo used to be cheaper.
TEST(BeatDecoder, counts_every_beat_of_a_fast_line_whose_weak_beats_are_weak) {
  for (const double bpm : {220.0, 243.0, 262.0, 281.0, 310.0}) {
    std::mt19937 random(7);
    std::normal_distribution<double> scatter(0.0, 0.008);
    auto played = steady_beats(bpm, 120);
    for (auto& beat : played) beat.seconds += scatter(random);
    const double length = played.back().seconds + 1.0;
    auto evidence = evidence_of(played, length);
    evidence.beat.assign(evidence.beat.size(), 0.003F);
    for (std::size_t i = 0; i < played.size(); ++i) {
      add_bump(evidence.beat, played[i].seconds, i % 2 == 0 ? 0.85F : 0.65F);
    }
    const auto grid = decode_beats(evidence, {});
    ASSERT_TRUE(grid.tempo_bpm) << bpm;
    EXPECT_NEAR(*grid.tempo_bpm, bpm, 0.02 * bpm);
  }
}

TEST(BeatDecoder, fills_silent_beats_and_keeps_the_octave) {
  auto played = steady_beats(132.0, 64);
  for (const std::size_t silent : {9U, 18U, 19U, 33U, 34U, 35U, 50U}) {
    played[silent].is_struck = false;
  }
  const auto grid = decode_beats(evidence_of(played, 31.0), {});
  EXPECT_EQ(grid.beats.size(), played.size());
  EXPECT_EQ(share_found(played, grid.beats, 0.015), 1.0);
}

TEST(BeatDecoder, leaves_a_long_silence_between_two_tunes_empty) {
  auto played = steady_beats(120.0, 64);
  for (const auto& beat : steady_beats(183.0, 96, 4, 55.0)) played.push_back(beat);
  const auto grid = decode_beats(evidence_of(played, 90.0), {});
  EXPECT_EQ(share_found(played, grid.beats, 0.010), 1.0);
  EXPECT_LE(grid.beats.size(), played.size() + 2);
  EXPECT_EQ(std::count_if(grid.beats.begin(), grid.beats.end(),
                          [](const DecodedBeat& beat) {
                            return beat.time_seconds > 34.0 && beat.time_seconds < 54.0;
                          }),
            0);
  EXPECT_EQ(grid.beats.back().beat, 4);
}

TEST(BeatDecoder, does_not_double_the_tempo_for_weaker_eighths) {
  const auto played = steady_beats(66.0, 32);
  auto evidence = evidence_of(played, 30.0);
  for (const auto& beat : played) add_bump(evidence.beat, beat.seconds + 0.66 * 60.0 / 66.0, 0.25F);
  const auto grid = decode_beats(evidence, {});
  ASSERT_TRUE(grid.tempo_bpm);
  EXPECT_NEAR(*grid.tempo_bpm, 66.0, 0.5);
}

// The search keeps its way back for some six minutes at a time and searches again where it needs
// more: beats, a confirmed one and a silence lie on both sides of such borders.
TEST(BeatDecoder, finds_every_beat_of_a_quarter_of_an_hour) {
  std::vector<PlayedBeat> played;
  double seconds = 0.5;
  for (int i = 0; seconds < 900.0; ++i) {
    if (seconds > 380.0 && seconds < 420.0) {
      seconds += 1.0;
      continue;
    }
    played.push_back({seconds, i % 4 == 0, true});
    seconds += 60.0 / (120.0 + 40.0 * std::sin(seconds / 90.0));
  }
  BeatDecoderOptions options;
  options.fixed_beats_seconds = {played[played.size() / 2].seconds};
  const auto grid = decode_beats(evidence_of(played, 901.0), options);
  EXPECT_NEAR(static_cast<double>(grid.beats.size()), static_cast<double>(played.size()), 2.0);
  EXPECT_EQ(share_found(played, grid.beats, 0.010), 1.0);
}

/// Strikes of a line on every beat, and after every `nth` of them once more.
ProbabilityTable line_of(const std::vector<PlayedBeat>& played, double after_seconds,
                         std::size_t nth) {
  Table onset(static_cast<std::size_t>(seconds_frame(30.0)), evidence_pitch_count);
  const auto strike = [&onset](double seconds) {
    onset.row(static_cast<std::size_t>(std::lround(seconds_frame(seconds))))[5] = 0.9F;
  };
  for (std::size_t i = 0; i < played.size(); ++i) {
    strike(played[i].seconds);
    if (i % nth == 0) strike(played[i].seconds + after_seconds);
  }
  return packed(onset);
}

TEST(BeatDecoder, is_unsure_where_twice_the_tempo_explains_nearly_as_much) {
  const auto played = steady_beats(66.0, 32);
  const auto sure = decode_beats(evidence_of(played, 30.0), {});
  EXPECT_FALSE(sure.rival_bpm);
  EXPECT_GT(sure.beats[16].confidence, 0.8);
  // Eighths that are struck nearly like beats: 66 or 132, who knows.
  auto evidence = evidence_of(played, 30.0);
  for (const auto& beat : played) add_bump(evidence.beat, beat.seconds + 30.0 / 66.0, 0.4F);
  EXPECT_FALSE(decode_beats(evidence, {}).rival_bpm) << "no line moves in eighths";
  // A line of a note a beat and a few between is counted slowly, one that moves in those eighths
  // throughout fast.
  evidence.onset = line_of(played, 30.0 / 66.0, 4);
  const auto unsure = decode_beats(evidence, {});
  ASSERT_TRUE(unsure.tempo_bpm);
  EXPECT_NEAR(*unsure.tempo_bpm, 66.0, 1.0);
  ASSERT_TRUE(unsure.rival_bpm);
  EXPECT_NEAR(*unsure.rival_bpm, 132.0, 2.0);
  EXPECT_LT(unsure.beats[16].confidence, 0.8 * sure.beats[16].confidence);
  auto walking = evidence;
  walking.onset = line_of(played, 30.0 / 66.0, 1);
  const auto fast = decode_beats(walking, {});
  ASSERT_TRUE(fast.tempo_bpm);
  EXPECT_NEAR(*fast.tempo_bpm, 132.0, 2.0);
  ASSERT_TRUE(fast.rival_bpm);
  EXPECT_NEAR(*fast.rival_bpm, 66.0, 1.0);
  // Whoever says the tempo, or a beat, is believed.
  BeatDecoderOptions told;
  told.tempo_bpm = 66.0;
  EXPECT_FALSE(decode_beats(evidence, told).rival_bpm);
  EXPECT_GT(decode_beats(evidence, told).beats[16].confidence, unsure.beats[16].confidence);
}

TEST(BeatDecoder, reads_three_four) {
  const auto played = steady_beats(168.0, 72, 3);
  const auto grid = decode_beats(evidence_of(played, 27.0), {});
  EXPECT_EQ(grid.beats_per_bar, 3);
  EXPECT_EQ(grid.beats.back().bar, 24);
  EXPECT_EQ(grid.beats.back().beat, 3);
}

TEST(BeatDecoder, counts_stick_clicks_before_the_tune_as_bar_nought_or_less) {
  const auto played = steady_beats(140.0, 8 + 48);
  auto evidence = evidence_of(played, 26.0);
  const auto music = static_cast<std::size_t>(seconds_frame(played[8].seconds));
  Table pitch(evidence.frame_count(), evidence_pitch_count + 1);
  for (std::size_t f = 0; f < pitch.row_count(); ++f) {
    pitch.row(f)[f < music ? no_pitch_column : 5] = 1.0F;
  }
  evidence.pitch = packed(pitch);
  const auto grid = decode_beats(evidence, {});
  ASSERT_EQ(grid.beats.size(), played.size());
  EXPECT_EQ(grid.beats[0].bar, -1);
  EXPECT_EQ(grid.beats[7].bar, 0);
  EXPECT_EQ(grid.beats[7].beat, 4);
  EXPECT_EQ(grid.beats[8].bar, 1);
  EXPECT_EQ(grid.beats[8].beat, 1);
}

TEST(BeatDecoder, counts_a_pick_up_as_bar_nought) {
  auto played = steady_beats(120.0, 41);
  for (std::size_t i = 0; i < played.size(); ++i) played[i].is_downbeat = i % 4 == 1;
  const auto grid = decode_beats(evidence_of(played, 22.0), {});
  ASSERT_EQ(grid.beats.size(), played.size());
  EXPECT_EQ(grid.beats[0].bar, 0);
  EXPECT_EQ(grid.beats[0].beat, 4);
  EXPECT_EQ(grid.beats[1].bar, 1);
}

TEST(BeatDecoder, follows_a_bar_with_two_beats_dropped_or_added_only_with_strong_evidence) {
  auto played = steady_beats(120.0, 64);
  for (std::size_t i = 32; i < 64; ++i) played[i].is_downbeat = i % 4 == 3;  // one beat dropped
  const auto grid = decode_beats(evidence_of(played, 34.0), {});
  ASSERT_EQ(grid.beats.size(), played.size());
  EXPECT_EQ(grid.beats[31].beat, 4);
  EXPECT_EQ(grid.beats[35].beat, 1);
  EXPECT_EQ(grid.beats[63].beat, 1);
}

TEST(BeatDecoder, finds_nothing_in_silence_and_in_weak_noise) {
  EXPECT_TRUE(decode_beats(evidence_of({}, 20.0), {}).beats.empty());
  EXPECT_TRUE(decode_beats(Evidence{}, {}).beats.empty());
  auto noise = evidence_of({}, 30.0);
  std::mt19937 random(7);
  std::uniform_real_distribution<float> value(0.0F, 0.15F);
  for (float& b : noise.beat) b = value(random);
  const auto grid = decode_beats(noise, {});
  EXPECT_TRUE(grid.beats.empty());
  EXPECT_FALSE(grid.tempo_bpm);
  EXPECT_FALSE(grid.swing_ratio);
}

TEST(BeatDecoder, goes_through_each_fixed_beat) {
  const auto played = steady_beats(100.0, 40);
  BeatDecoderOptions options;
  // Off the played beats, two of them nearer than any tempo, one before the first sound.
  options.fixed_beats_seconds = {0.2, 5.37, 5.45, 11.111, 20.02};
  const auto grid = decode_beats(evidence_of(played, 25.0), options);
  for (const double fixed : options.fixed_beats_seconds) {
    EXPECT_TRUE(std::any_of(grid.beats.begin(), grid.beats.end(), [&](const DecodedBeat& beat) {
      return beat.time_seconds == fixed;
    })) << fixed;
  }
  EXPECT_TRUE(
      std::is_sorted(grid.beats.begin(), grid.beats.end(),
                     [](const auto& a, const auto& b) { return a.time_seconds < b.time_seconds; }));
}

TEST(BeatDecoder, stands_any_length_and_confirmed_beats_outside_the_recording) {
  for (const double seconds : {0.0, 0.02, 0.3, 1.0}) {
    EXPECT_TRUE(decode_beats(evidence_of({}, seconds), {}).beats.empty());
  }
  BeatDecoderOptions options;
  options.fixed_beats_seconds = {0.25, 400.0};
  EXPECT_GE(decode_beats(evidence_of({}, 0.5), options).beats.size(), 1U);
}

TEST(BeatDecoder, obeys_the_players_tempo_meter_and_first_bar) {
  const auto played = steady_beats(180.0, 96);
  const auto evidence = evidence_of(played, 33.0);
  BeatDecoderOptions options;
  options.tempo_bpm = 90.0;
  options.beats_per_bar = 3;
  options.first_bar_seconds = played[6].seconds;
  const auto grid = decode_beats(evidence, options);
  ASSERT_TRUE(grid.tempo_bpm);
  EXPECT_NEAR(*grid.tempo_bpm, 90.0, 1.0);
  EXPECT_EQ(grid.beats_per_bar, 3);
  const auto first = std::find_if(grid.beats.begin(), grid.beats.end(),
                                  [](const DecodedBeat& beat) { return beat.bar == 1; });
  ASSERT_NE(first, grid.beats.end());
  EXPECT_EQ(first->time_seconds, played[6].seconds);
  EXPECT_EQ(first->beat, 1);
}

TEST(BeatDecoder, is_surer_of_strong_beats_than_of_silent_ones) {
  auto played = steady_beats(132.0, 64);
  played[30].is_struck = false;
  const auto grid = decode_beats(evidence_of(played, 31.0), {});
  ASSERT_EQ(grid.beats.size(), played.size());
  EXPECT_GT(grid.beats[20].confidence, 0.8);
  EXPECT_LT(grid.beats[30].confidence, 0.5 * grid.beats[20].confidence);
}

TEST(SwingRatio, is_the_ratio_of_the_eighths_that_were_played) {
  for (const double ratio : {1.0, 1.5, 2.0, 3.0}) {
    const auto played = steady_beats(150.0, 64);
    auto evidence = evidence_of(played, 27.0);
    Table onset(evidence.frame_count(), evidence_pitch_count);
    for (std::size_t i = 0; i < played.size(); i += 2) {
      const double off = played[i].seconds + 0.4 * ratio / (1.0 + ratio);
      std::vector<float> bump(evidence.frame_count(), 0.0F);
      add_bump(bump, off, 0.9F);
      for (std::size_t f = 0; f < bump.size(); ++f) {
        onset.row(f)[5] = std::max(onset.row(f)[5], bump[f]);
      }
    }
    evidence.onset = packed(onset);
    const auto grid = decode_beats(evidence, {});
    ASSERT_TRUE(grid.swing_ratio) << ratio;
    EXPECT_NEAR(*grid.swing_ratio, ratio, 0.04 * ratio);
  }
}

TEST(SwingRatio, is_nothing_without_off_beats) {
  EXPECT_FALSE(decode_beats(evidence_of(steady_beats(150.0, 64), 27.0), {}).swing_ratio);
}

}  // namespace
}  // namespace lowstride::dsp
