#include "dsp/stretch/onset_finder.hpp"

#include <array>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "dsp/stretch/band_splitter.hpp"
#include "tests/stretch/signals.hpp"

namespace lowstride::dsp::stretch {
namespace {

/// Onsets of a signal but for its first and last 0.1 s: starting and breaking off are onsets too.
std::vector<Onset> find(const std::vector<float>& signal) {
  BandSplitter splitter({.channel_count = 1});
  OnsetFinder finder({.channel_count = 1});
  SampleRing input(1, 65536);
  std::vector<SampleRing> bands(splitter.band_count(), SampleRing(1, 65536));
  OnsetList list;
  std::vector<Onset> result;
  std::size_t seen = 0;
  const std::size_t end = signal.size() + 20000;
  for (std::size_t n = 0; n < end; ++n) {
    input.slot(0, input.end()) = n < signal.size() ? signal[n] : 0.0F;
    input.advance(1);
    if (n % 256 != 255) continue;
    splitter.advance(input, bands);
    finder.advance(input, bands, list);
    for (; seen < list.size(); ++seen) {
      const Place rise = list.at(seen).rise;
      if (rise > 4410 && rise + 4410 < static_cast<Place>(signal.size())) {
        result.push_back(list.at(seen));
      }
    }
  }
  return result;
}

double phase(double hz, std::size_t n) {
  return 2.0 * std::numbers::pi * hz * static_cast<double>(n) / test::rate_hz;
}

TEST(OnsetFinder, places_clicks_to_a_quarter_of_a_millisecond) {
  constexpr std::array<double, 4> onsets_seconds{0.3, 0.55, 0.8, 1.2};
  const auto found = find(test::clicks(onsets_seconds, 1.5));
  ASSERT_EQ(found.size(), onsets_seconds.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    EXPECT_NEAR(static_cast<double>(found[i].rise) / test::rate_hz, onsets_seconds[i], 0.00025);
  }
}

TEST(OnsetFinder, a_plucked_low_string_is_one_onset_of_all_bands) {
  for (const double hz : {test::b0_hz, test::e1_hz, test::a1_hz, test::e2_hz}) {
    const auto found = find(test::plucked_tone(hz, 0.4, 2.0));
    ASSERT_EQ(found.size(), 1U) << hz;
    EXPECT_NEAR(static_cast<double>(found[0].rise) / test::rate_hz, 0.4, 0.001) << hz;
    EXPECT_EQ(found[0].bands, 7U) << hz;
  }
}

// Hits an eighth of a fast tempo apart: what comes 80 to 150 ms later must not hide a hit, wherever
// it lies in the blocks of the work.
TEST(OnsetFinder, hits_close_after_each_other_are_all_found) {
  for (const std::size_t gap : {3700U, 4400U, 5000U, 6100U}) {
    std::vector<double> onsets_seconds;
    for (std::size_t place = 9000; place < 120000; place += gap) {
      onsets_seconds.push_back(static_cast<double>(place) / test::rate_hz);
    }
    const auto found = find(test::clicks(onsets_seconds, 130000.0 / test::rate_hz));
    ASSERT_EQ(found.size(), onsets_seconds.size()) << gap;
    for (const Onset& onset : found) EXPECT_EQ(onset.bands & 6U, 6U) << gap << ", " << onset.rise;
  }
}

TEST(OnsetFinder, a_held_sound_has_none) {
  const std::size_t count = 100000;
  // A saw tooth on E1: pulses 24 ms apart. Two tones 3 Hz apart: beats. A voice with a vibrato of
  // 30 cents. White noise. None begins anew.
  std::vector<float> saw(count);
  std::vector<float> beats(count);
  std::vector<float> vibrato(count);
  double turned = 0.0;
  for (std::size_t n = 0; n < count; ++n) {
    const double fade = std::min(1.0, static_cast<double>(n) / 4000.0);
    turned += phase(110.0 * std::exp2(30.0 / 1200.0 * std::sin(phase(5.5, n))), 1);
    double a = 0.0;
    double b = 0.0;
    double c = 0.0;
    for (int k = 1; k <= 40; ++k) {
      a += std::sin(phase(test::e1_hz * k, n)) / k;
      if (k <= 12) b += (std::sin(phase(110.0 * k, n)) + std::sin(phase(113.0 * k, n))) / k;
      c += std::sin(k * turned) / k;
    }
    saw[n] = static_cast<float>(0.2 * fade * a);
    beats[n] = static_cast<float>(0.1 * fade * b);
    vibrato[n] = static_cast<float>(0.2 * fade * c);
  }
  EXPECT_EQ(find(saw).size(), 0U);
  EXPECT_EQ(find(beats).size(), 0U);
  EXPECT_EQ(find(vibrato).size(), 0U);
  EXPECT_EQ(find(test::noise(count, 21)).size(), 0U);
}

// The difference of white noise has nothing low: such a hit over a held note must leave the note
// alone, so the lowest band (bit 0) is not cut.
TEST(OnsetFinder, a_high_hit_does_not_cut_the_low_band) {
  auto signal = test::steady_tone(test::e1_hz, 2.0);
  const auto burst = test::noise(600, 4);
  for (std::size_t n = 4; n < burst.size(); ++n) {
    const double fourth =
        burst[n] - 4.0 * burst[n - 1] + 6.0 * burst[n - 2] - 4.0 * burst[n - 3] + burst[n - 4];
    signal[44100 + n] +=
        static_cast<float>(0.05 * fourth * std::exp(-static_cast<double>(n) / 100.0));
  }
  const auto found = find(signal);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].bands & 1U, 0U);
  EXPECT_NE(found[0].bands & 4U, 0U);
}

}  // namespace
}  // namespace lowstride::dsp::stretch
