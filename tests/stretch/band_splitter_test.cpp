#include "dsp/stretch/band_splitter.hpp"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "tests/stretch/signals.hpp"

namespace lowstride::dsp::stretch {
namespace {

std::vector<SampleRing> split(BandSplitter& splitter, const std::vector<float>& signal) {
  SampleRing input(1, 32768);
  std::vector<SampleRing> bands(splitter.band_count(), SampleRing(1, 32768));
  for (const float value : signal) {
    input.slot(0, input.end()) = value;
    input.advance(1);
    if (input.end() % 300 == 0) splitter.advance(input, bands);
  }
  splitter.advance(input, bands);
  return bands;
}

TEST(BandSplitter, bands_add_up_to_the_signal_in_place) {
  BandSplitter splitter({.channel_count = 1});
  const auto signal = test::noise(16000, 5);
  const auto bands = split(splitter, signal);
  EXPECT_GE(bands.front().end(), 16000 - static_cast<Place>(splitter.read_ahead_samples()));
  for (Place place = 0; place < bands.front().end(); ++place) {
    float sum = 0.0F;
    for (const auto& band : bands) sum += band.at(0, place);
    ASSERT_NEAR(sum, signal[static_cast<std::size_t>(place)], 2e-6) << place;
  }
}

// Harris, "On the use of windows for harmonic analysis", Proc. IEEE 66(1), 1978: a Blackman window
// keeps 58 dB at its highest side lobe; a low-pass made with it has more, since lobes cancel.
TEST(BandSplitter, low_notes_stay_out_of_the_upper_bands) {
  BandSplitter splitter({.channel_count = 1});
  const auto bands = split(splitter, test::steady_tone(test::b0_hz, 0.35, 8));
  double low = 0.0;
  double rest = 0.0;
  for (Place place = 3000; place < 12000; ++place) {
    low += std::pow(bands[0].at(0, place), 2);
    rest += std::pow(bands[1].at(0, place) + bands[2].at(0, place), 2);
  }
  EXPECT_LT(10.0 * std::log10(rest / low), -60.0);
}

}  // namespace
}  // namespace lowstride::dsp::stretch
