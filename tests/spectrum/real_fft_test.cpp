#include "dsp/spectrum/real_fft.hpp"

#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

// Definition of the discrete Fourier transform: a cosine of amplitude 1 on bin k gives size / 2
// there and nothing elsewhere.
TEST(RealFft, puts_a_cosine_into_its_own_bin) {
  RealFft fft(64);
  std::vector<float> frame(64);
  for (std::size_t n = 0; n < 64; ++n) {
    frame[n] =
        static_cast<float>(std::cos(2.0 * std::numbers::pi * 5.0 * static_cast<double>(n) / 64.0));
  }
  std::vector<std::complex<float>> bins(fft.bin_count());
  fft.forward(frame, bins);
  for (std::size_t k = 0; k < bins.size(); ++k) {
    EXPECT_NEAR(std::abs(bins[k]), k == 5 ? 32.0 : 0.0, 1e-4) << "bin " << k;
  }
}

TEST(RealFft, inverse_undoes_forward) {
  RealFft fft(480);
  std::vector<float> frame(480);
  for (std::size_t n = 0; n < frame.size(); ++n) {
    frame[n] = static_cast<float>((n * 7919) % 1000) / 500.0F - 1.0F;
  }
  std::vector<std::complex<float>> bins(fft.bin_count());
  std::vector<float> back(480);
  fft.forward(frame, bins);
  fft.inverse(bins, back);
  for (std::size_t n = 0; n < frame.size(); ++n) EXPECT_NEAR(back[n], frame[n], 1e-5);
}

// Harris, "On the use of windows for harmonic analysis", Proc. IEEE 66(1), 1978, table 1: the Hann
// window has a coherent gain of 0.50 and an equivalent noise bandwidth of 1.50 bins.
TEST(HannWindow, has_the_published_gain_and_noise_bandwidth) {
  const auto window = hann_window(4096);
  const double sum = std::accumulate(window.begin(), window.end(), 0.0);
  const double squares = std::inner_product(window.begin(), window.end(), window.begin(), 0.0);
  EXPECT_NEAR(sum / 4096.0, 0.50, 1e-6);
  EXPECT_NEAR(4096.0 * squares / (sum * sum), 1.50, 1e-6);
}

}  // namespace
}  // namespace lowstride::dsp
