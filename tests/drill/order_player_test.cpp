#include "src/drill/order_player.hpp"

#include <stdlib.h>

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/planes.hpp"
#include "src/audio/writer.hpp"

namespace lowstride::drill {
namespace {

constexpr int rate_hz = 22050;

class OrderPlayer : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = (std::filesystem::temp_directory_path() / "lowstride-order-XXXXXX").string();
    ASSERT_NE(::mkdtemp(folder_.data()), nullptr);
    recording_ = std::filesystem::path(folder_) / "a.wav";
    // Six seconds: a low A1 (the line) under a steady tone of 1000 Hz (the rest).
    audio::WriteOptions options;
    options.sample_rate_hz = rate_hz;
    options.channel_count = 1;
    auto writer = audio::AudioWriter::create(recording_, options);
    ASSERT_TRUE(writer);
    audio::Planes planes(1, 6 * rate_hz);
    for (std::size_t i = 0; i < planes.sample_count(); ++i) {
      const double seconds = static_cast<double>(i) / rate_hz;
      planes.part(0, planes.sample_count()).channels[0][i] =
          static_cast<float>(0.3 * std::sin(2.0 * std::numbers::pi * 55.0 * seconds) +
                             0.1 * std::sin(2.0 * std::numbers::pi * 1000.0 * seconds));
    }
    ASSERT_TRUE((*writer)->write(planes.read(0, planes.sample_count())));
    ASSERT_TRUE((*writer)->commit());
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  /// Four beats of half a second from the third second on, over which A1 is to be played.
  [[nodiscard]] static SoundOrder order() {
    SoundOrder order;
    order.source = SoundOrder::Source::recording;
    order.is_accompaniment = true;
    order.speed_ratio = 0.5;
    order.stretch = {3 * rate_hz, 5 * rate_hz};
    for (int beat = 0; beat <= 4; ++beat) {
      order.beat_samples.push_back(3 * rate_hz + beat * rate_hz / 2);
    }
    for (int beat = 0; beat < 4; ++beat) order.left_out.push_back({0.5 * beat, 0.5, 33, false});
    order.lead_seconds = 4.0;
    order.length_seconds = 8.0;
    order.tones = {{4.0, 1.0, 60, false}, {4.0, 1.0, 64, false}};
    order.clicks_seconds = {0.0, 1.0, 2.0, 3.0};
    return order;
  }

  std::string folder_;
  std::filesystem::path recording_;
};

/// Amplitude of a frequency in [begin, end).
double amplitude(const std::vector<float>& sound, double hz, std::size_t begin, std::size_t end) {
  double real = 0.0;
  double imaginary = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    const double turn = 2.0 * std::numbers::pi * hz * static_cast<double>(i) / rate_hz;
    const double window = 1.0 - std::cos(2.0 * std::numbers::pi * static_cast<double>(i - begin) /
                                         static_cast<double>(end - begin));
    real += window * sound[i] * std::cos(turn);
    imaginary += window * sound[i] * std::sin(turn);
  }
  return 2.0 * std::hypot(real, imaginary) / static_cast<double>(end - begin);
}

// The issue: the line is played over the recording with the low voice taken out.
TEST_F(OrderPlayer, a_recording_is_played_over_after_a_bar_of_clicks_without_its_low_voice) {
  const SoundOrder order = OrderPlayer::order();
  auto player = open_player(order, recording_, {.read_ahead = audio::ReadAhead::on_demand});
  ASSERT_TRUE(player) << player.error().message;
  (*player)->play_from(first_sample(order));
  audio::PullOut out(**player);
  // A bar of four beats at half speed: four seconds of count-in.
  const auto lead = out.pull(static_cast<std::size_t>(3.9 * rate_hz)).front();
  EXPECT_TRUE((*player)->status().is_counting_in);
  EXPECT_NEAR(heard_seconds(order, (*player)->status().place_samples, rate_hz), 3.9, 0.02);
  EXPECT_LT(amplitude(lead, 1000.0, rate_hz / 2, rate_hz - 1000), 0.01);
  const auto over = out.pull(4 * rate_hz).front();
  EXPECT_NEAR(amplitude(over, 1000.0, rate_hz, 3 * rate_hz), 0.1, 0.01);
  EXPECT_LT(amplitude(over, 55.0, rate_hz, 3 * rate_hz), 0.02) << "the line was 0.3";
  EXPECT_NEAR(heard_seconds(order, (*player)->status().place_samples, rate_hz), 7.9, 0.02);
  EXPECT_LT((*player)->status().place_samples, end_sample(order));
}

TEST_F(OrderPlayer, without_the_recording_the_tones_stand_in) {
  const SoundOrder order = at_hand(OrderPlayer::order(), {});
  EXPECT_EQ(order.source, SoundOrder::Source::tones);
  const auto player = open_player(order, {});
  ASSERT_TRUE(player);
  EXPECT_EQ(first_sample(order), 0);
  EXPECT_NEAR(end_sample(order) / (*player)->sample_rate_hz(), 8.0, 1e-9);
  // What only listens to the recording cannot do without it.
  SoundOrder listening = OrderPlayer::order();
  listening.is_accompaniment = false;
  const auto none = open_player(at_hand(listening, {}), {});
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().code, ErrorCode::not_found);
}

}  // namespace
}  // namespace lowstride::drill
