#include "dsp/spectrum/hum.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {
namespace {

constexpr double turn = 2.0 * std::numbers::pi;

void add_line(std::vector<float>& sound, double hz, double amplitude) {
  for (std::size_t n = 0; n < sound.size(); ++n) {
    sound[n] += static_cast<float>(
        amplitude * std::sin(turn * hz * static_cast<double>(n) / analysis_rate_hz + hz));
  }
}

/// Struck notes of half a second with five partials, each with a phase of its own.
std::vector<float> plucks(double seconds, std::vector<double> hz, double decay = 3.0) {
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  const auto note_samples = static_cast<std::size_t>(0.5 * analysis_rate_hz);
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const std::size_t note = n / note_samples;
    const double since = static_cast<double>(n % note_samples) / analysis_rate_hz;
    double value = 0.0;
    for (int k = 1; k <= 5; ++k) {
      value +=
          std::sin(turn * hz[note % hz.size()] * k * since + static_cast<double>(note * note)) / k;
    }
    sound[n] = static_cast<float>(0.2 * value * std::exp(-decay * since));
  }
  return sound;
}

std::optional<MainsHum> detect(const std::vector<float>& sound) {
  HumDetector detector;
  detector.process(sound);
  return detector.finish();
}

double level_db(std::span<const float> sound, double hz) {
  double real = 0.0, imaginary = 0.0;
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double angle = turn * hz * static_cast<double>(n) / analysis_rate_hz;
    const double window = std::pow(
        std::sin(turn / 2.0 * static_cast<double>(n) / static_cast<double>(sound.size())), 2.0);
    real += static_cast<double>(sound[n]) * std::cos(angle) * window;
    imaginary += static_cast<double>(sound[n]) * std::sin(angle) * window;
  }
  return 20.0 *
         std::log10(4.0 * std::hypot(real, imaginary) / static_cast<double>(sound.size()) + 1e-12);
}

std::vector<float> filter(std::vector<float> sound, const std::optional<MainsHum>& hum,
                          std::size_t block = 100'000'000) {
  HumFilter hum_filter(hum);
  for (std::size_t begin = 0; begin < sound.size(); begin += block) {
    hum_filter.process(std::span(sound).subspan(begin, std::min(block, sound.size() - begin)));
  }
  return sound;
}

double rms(std::span<const float> sound) {
  double squares = 0.0;
  for (const float sample : sound) {
    squares += static_cast<double>(sample) * static_cast<double>(sample);
  }
  return std::sqrt(squares / static_cast<double>(sound.size()));
}

TEST(HumDetector, finds_mains_under_music) {
  for (const double base : {50.0, 59.95}) {
    auto sound = plucks(30.0, {41.2, 55.0, 49.0, 61.7, 73.4, 82.4, 65.4});
    add_line(sound, base, 0.006);
    add_line(sound, 2.0 * base, 0.004);
    add_line(sound, 3.0 * base, 0.003);
    const auto hum = detect(sound);
    ASSERT_TRUE(hum.has_value()) << base;
    EXPECT_NEAR(hum->fundamental_hz, base, 0.02);
    EXPECT_GE(hum->lines.size(), 2U);
    for (const HumLine& line : hum->lines) EXPECT_LE(line.order, 3);
  }
}

TEST(HumDetector, leaves_a_pedal_note_on_a_mains_frequency_alone) {
  // The same note struck again and again for half a minute, right on 50, 60 and near them.
  for (const double hz : {49.0, 50.0, 60.0, 61.74}) {
    EXPECT_FALSE(detect(plucks(30.0, {hz})).has_value()) << hz;
    EXPECT_FALSE(detect(plucks(30.0, {hz}, 0.3)).has_value()) << hz << ", hardly decaying";
  }
}

TEST(HumDetector, has_no_answer_for_silence_and_short_sounds) {
  EXPECT_FALSE(detect({}).has_value());
  EXPECT_FALSE(detect(std::vector<float>(700'000)).has_value());
  std::vector<float> brief(100'000);
  add_line(brief, 50.0, 0.01);
  add_line(brief, 100.0, 0.01);
  EXPECT_FALSE(detect(brief).has_value());
}

TEST(HumDetector, tells_amplitude_and_phase_at_the_beginning) {
  std::vector<float> sound(700'000);
  add_line(sound, 60.0, 0.02);
  add_line(sound, 180.0, 0.01);
  std::mt19937 generator(1);
  std::normal_distribution<float> normal(0.0F, 1e-4F);
  for (float& sample : sound) sample += normal(generator);
  const auto hum = detect(sound);
  ASSERT_TRUE(hum.has_value());
  ASSERT_EQ(hum->lines.size(), 2U);
  EXPECT_NEAR(hum->lines[0].amplitude, 0.02, 0.0004);
  EXPECT_NEAR(hum->lines[1].amplitude, 0.01, 0.0002);
  // add_line gives sin(w t + hz) = cos(w t + hz - pi / 2).
  EXPECT_NEAR(std::remainder(hum->lines[0].phase_radians - (60.0 - turn / 4.0), turn), 0.0, 0.05);
  EXPECT_NEAR(std::remainder(hum->lines[1].phase_radians - (180.0 - turn / 4.0), turn), 0.0, 0.05);
}

TEST(HumFilter, takes_hum_out_from_the_first_sample) {
  std::vector<float> sound(200'000);
  MainsHum hum{60.0, {}};
  for (const int order : {1, 2, 5}) {
    add_line(sound, 60.0 * order, 0.1);
    hum.lines.push_back({order, 0.1, 60.0 * order - turn / 4.0});
  }
  const auto out = filter(sound, hum);
  for (std::size_t begin = 0; begin + 2205 <= out.size(); begin += 2205) {
    // Three sines of 0.1 have an RMS of 0.122; 40 dB down is 0.0012.
    ASSERT_LT(rms(std::span(out).subspan(begin, 2205)), 0.0012) << "at sample " << begin;
  }
}

TEST(HumFilter, leaves_no_note_where_the_music_has_not_begun) {
  // Hum alone for half a second, then a line that begins close to 60 Hz: what the detector found
  // under the notes settles the notches.
  auto music = plucks(30.0, {58.27, 61.74, 49.0, 73.4, 65.4});
  music.insert(music.begin(), 11'025, 0.0F);
  auto sound = music;
  add_line(sound, 60.0, 0.01);
  add_line(sound, 120.0, 0.006);
  const auto hum = detect(sound);
  ASSERT_TRUE(hum.has_value());
  const auto out = filter(sound, hum);
  const double before = rms(std::span(sound).first(11'025));
  const double after = rms(std::span(out).first(11'025));
  EXPECT_LT(20.0 * std::log10(after / before), -8.0);
}

TEST(HumFilter, spares_the_note_beside_the_line) {
  // G1 is 49.0 Hz. Notch of width w at distance d: |H|^2 = 1 / (1 + (w / 2 d)^2) = -0.64 dB.
  std::vector<float> sound(220'500);
  add_line(sound, 49.0, 0.1);
  const auto out = filter(sound, MainsHum{50.0, {{.order = 1}}});
  const auto tail = std::span(out).last(110'250);
  EXPECT_NEAR(level_db(tail, 49.0), -20.0 - 0.64, 0.1);
  std::vector<float> higher(220'500);
  add_line(higher, 98.0, 0.1);
  const auto kept = filter(higher, MainsHum{50.0, {{.order = 1}}});
  EXPECT_NEAR(level_db(std::span(kept).last(110'250), 98.0), -20.0, 0.01);
}

TEST(HumFilter, changes_nothing_without_hum) {
  const auto sound = plucks(3.0, {55.0});
  EXPECT_EQ(filter(sound, std::nullopt), sound);
}

TEST(HumFilter, gives_the_same_bits_for_any_block_size) {
  for (const std::size_t samples : {100UL, 44'099UL, 44'100UL, 90'000UL}) {
    auto sound = plucks(5.0, {55.0, 61.7});
    add_line(sound, 50.0, 0.01);
    sound.resize(samples);
    const MainsHum hum{50.0, {{1, 0.01, 0.3}, {2, 0.0, 0.0}}};
    const auto whole = filter(sound, hum);
    EXPECT_EQ(whole.size(), samples);
    for (const std::size_t block : {1UL, 64UL, 480UL, 4096UL}) {
      EXPECT_EQ(filter(sound, hum, block), whole) << samples << ' ' << block;
    }
  }
}

}  // namespace
}  // namespace lowstride::dsp
