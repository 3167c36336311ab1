#include "dsp/learned/front_end.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {
namespace {

struct Frames {
  FrameQueue spectra{spectrum_lane_count};
  FrameQueue bands{band_count};

  [[nodiscard]] std::vector<float> values() const {
    std::vector<float> all;
    for (const FrameQueue* queue : {&spectra, &bands}) {
      for (std::size_t lane = 0; lane < queue->lane_count(); ++lane) {
        all.insert(all.end(), queue->lane(lane), queue->lane(lane) + queue->frame_count());
      }
    }
    return all;
  }
};

Frames analyse(const std::vector<float>& sound, const FrontEndOptions& options,
               std::size_t block_samples = 100'000'000) {
  FrontEnd front_end(options);
  Frames frames;
  for (std::size_t begin = 0; begin < sound.size(); begin += block_samples) {
    front_end.process(
        std::span(sound).subspan(begin, std::min(block_samples, sound.size() - begin)),
        frames.spectra, frames.bands);
  }
  front_end.finish(frames.spectra, frames.bands);
  return frames;
}

std::vector<float> sine(double hz, double amplitude, std::size_t samples) {
  std::vector<float> sound(samples);
  for (std::size_t n = 0; n < samples; ++n) {
    sound[n] = static_cast<float>(amplitude * std::sin(2.0 * std::numbers::pi * hz *
                                                       static_cast<double>(n) / analysis_rate_hz));
  }
  return sound;
}

std::size_t strongest(const FrameQueue& queue, std::size_t first, std::size_t count,
                      std::size_t frame) {
  std::size_t best = first;
  for (std::size_t lane = first; lane < first + count; ++lane) {
    if (queue.lane(lane)[frame] > queue.lane(best)[frame]) best = lane;
  }
  return best - first;
}

/// The compression undone.
double amplitude(float value) {
  return std::pow(10.0, (static_cast<double>(value) + 0.6) * 2.35 - 4.7) - 2e-5;
}

TEST(FrontEnd, puts_each_pitch_of_a_tuned_grid_on_its_own_bin) {
  // MIDI m lies on log bin 3 m - 32; A1 (33) on 67, A4 (69) on 175, for every tuning.
  for (const double a4 : {430.0, 440.0, 451.0}) {
    for (const int midi : {33, 45, 57, 69, 81}) {
      const double hz = a4 * std::exp2((midi - 69) / 12.0);
      const Frames frames = analyse(sine(hz, 0.2, 22050), {.a4_hz = a4});
      const auto expected = static_cast<std::size_t>(3 * midi - 32);
      // Under 150 Hz log bins lie closer than DFT bins, and the interpolated peak is up to half a
      // DFT bin (1.3 log bins at A1) away.
      EXPECT_NEAR(static_cast<double>(strongest(frames.spectra, 0, log_bin_count, 43)),
                  static_cast<double>(expected), midi < 50 ? 1.0 : 0.0)
          << a4 << ' ' << midi;
      if (midi >= 57) {
        EXPECT_EQ(strongest(frames.spectra, log_bin_count, log_bin_count, 43), expected);
      }
    }
  }
}

TEST(FrontEnd, follows_a_tape_that_drifts) {
  // A4 glides from 60 cents under to 60 cents over in 24 s; log bins are 33 cents wide.
  constexpr double seconds = 24.0;
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  double turns = 0.0;
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double time = static_cast<double>(n) / analysis_rate_hz;
    turns += 440.0 * std::exp2(5.0 * (time - 12.0) / 1200.0) / analysis_rate_hz;
    sound[n] = static_cast<float>(0.2 * std::sin(2.0 * std::numbers::pi * turns));
  }
  const Frames moving = analyse(sound, {.drift_cents_per_minute = 300.0, .middle_seconds = 12.0});
  const Frames fixed = analyse(sound, {});
  for (const std::size_t frame : {100UL, 1000UL, 1900UL}) {
    EXPECT_EQ(strongest(moving.spectra, 0, log_bin_count, frame), 175U) << frame;
  }
  EXPECT_NE(strongest(fixed.spectra, 0, log_bin_count, 100), 175U);
  EXPECT_NE(strongest(fixed.spectra, 0, log_bin_count, 1900), 175U);
}

TEST(FrontEnd, shows_half_the_amplitude_of_a_sine) {
  // A sine on a DFT bin, where interpolation takes that bin alone: bin 100 of 8192 is 269.2 Hz; the
  // grid is moved so that MIDI 60 (log bin 148) falls on it.
  const double hz = 100.0 * analysis_rate_hz / 8192.0;
  const double a4 = hz * std::exp2(9.0 / 12.0);
  const Frames frames = analyse(sine(hz, 0.2, 22050), {.a4_hz = a4});
  // The triangle of that bin reaches 1.94 DFT bins each way: weights 1 and twice 0.486 over the
  // root of their sum 1.97; a Hann window gives the neighbours half: (1 + 2 * 0.486 * 0.5) / 1.404.
  const double half_width = 100.0 * (std::exp2(1.0 / 36.0) - 1.0);
  const double side = 1.0 - 1.0 / half_width;
  const double expected = 0.1 * (1.0 + side) / std::sqrt(1.0 + 2.0 * side);
  EXPECT_NEAR(amplitude(frames.spectra.lane(148)[43]), expected, 0.002);
}

TEST(FrontEnd, has_one_frame_for_each_hop_begun) {
  EXPECT_EQ(analyse({}, {}).spectra.frame_count(), 0U);
  EXPECT_EQ(analyse(std::vector<float>(1), {}).spectra.frame_count(), 1U);
  EXPECT_EQ(analyse(std::vector<float>(255), {}).spectra.frame_count(), 1U);
  EXPECT_EQ(analyse(std::vector<float>(256), {}).spectra.frame_count(), 2U);
  EXPECT_EQ(analyse(std::vector<float>(22050), {}).bands.frame_count(), 87U);
}

TEST(FrontEnd, centres_its_frames) {
  // A click on sample 256 * 40 is strongest in frame 40 and as strong in 39 as in 41.
  std::vector<float> sound(22050);
  sound[256 * 40] = 1.0F;
  const Frames frames = analyse(sound, {});
  const float* band = frames.bands.lane(30);
  EXPECT_EQ(std::max_element(band, band + 87) - band, 40);
  EXPECT_NEAR(band[39], band[41], 1e-5);
  const float* high = frames.spectra.lane(log_bin_count + 250);
  EXPECT_EQ(std::max_element(high, high + 87) - high, 40);
}

TEST(FrontEnd, stays_finite_on_silence_full_scale_and_bad_samples) {
  const float silent = (std::log10(2e-5F) + 4.7F) / 2.35F - 0.6F;
  for (const float value : analyse(std::vector<float>(5000), {}).values()) {
    ASSERT_NEAR(value, silent, 1e-6);
  }
  auto sound = sine(100.0, 1.0, 20'000);
  for (float& sample : sound) sample = sample > 0.0F ? 1.0F : -1.0F;
  sound[7000] = std::numeric_limits<float>::quiet_NaN();
  sound[9000] = std::numeric_limits<float>::infinity();
  sound[9500] = std::numeric_limits<float>::max();
  for (const float value : analyse(sound, {.gain = 1000.0F}).values()) {
    ASSERT_TRUE(std::isfinite(value));
  }
}

TEST(FrontEnd, gives_the_same_bits_for_any_block_size) {
  auto sound = sine(97.0, 0.3, 15'000);
  for (std::size_t n = 0; n < sound.size(); ++n) {
    sound[n] += 0.1F * static_cast<float>((n * 7919) % 1000) / 1000.0F;
  }
  const auto whole = analyse(sound, {}).values();
  for (const std::size_t block : {1UL, 64UL, 480UL, 4096UL}) {
    EXPECT_EQ(analyse(sound, {}, block).values(), whole) << block;
  }
}

}  // namespace
}  // namespace lowstride::dsp
