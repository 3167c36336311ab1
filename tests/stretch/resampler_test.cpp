#include "dsp/stretch/resampler.hpp"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "tests/stretch/signals.hpp"

namespace lowstride::dsp::stretch {
namespace {

SampleRing sine(double cycles_per_sample) {
  SampleRing ring(1, 8192);
  for (Place place = 0; place < 8000; ++place) {
    const double phase = 2.0 * std::numbers::pi * cycles_per_sample * static_cast<double>(place);
    ring.slot(0, place) = static_cast<float>(std::sin(phase));
  }
  ring.advance(8000);
  return ring;
}

TEST(Resampler, gives_the_samples_themselves_at_whole_places) {
  const Resampler resampler;
  const SampleRing ring = sine(0.11);
  for (Place place = 100; place < 200; ++place) {
    EXPECT_EQ(resampler.value(ring, 0, static_cast<double>(place), 1.0), ring.at(0, place));
  }
}

// Between the samples a sine must go on as a sine: error below -80 dB up to a fifth of the rate.
TEST(Resampler, reads_a_sine_between_its_samples) {
  const Resampler resampler;
  for (const double frequency : {0.001, 0.05, 0.2}) {
    const SampleRing ring = sine(frequency);
    for (int i = 0; i < 500; ++i) {
      const double place = 1000.0 + 1.0595 * i;
      const double wanted = std::sin(2.0 * std::numbers::pi * frequency * place);
      EXPECT_NEAR(resampler.value(ring, 0, place, 0.9), wanted, 1e-4) << frequency;
    }
  }
}

// A tone that would fold back (0.4 of the rate read in double steps lands at 0.8) is taken out.
TEST(Resampler, does_not_fold_back_when_it_goes_faster) {
  const Resampler resampler;
  const SampleRing ring = sine(0.4);
  double square = 0.0;
  for (int i = 0; i < 1000; ++i) {
    square += std::pow(resampler.value(ring, 0, 1000.0 + 2.0 * i, 2.0), 2);
  }
  EXPECT_LT(10.0 * std::log10(square / 500.0), -70.0);
}

}  // namespace
}  // namespace lowstride::dsp::stretch
