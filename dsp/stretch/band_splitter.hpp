#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"
#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

struct BandSplitterOptions {
  double sample_rate_hz = 44100.0;
  std::size_t channel_count = 2;
  std::vector<double> crossovers_hz = {700.0, 3000.0};  // ascending
};

/// Splits a signal into bands whose sum is the signal, sample for sample and with no delay: linear
/// phase low-passes (Blackman-windowed sinc) and their complements, done by fast convolution
/// (overlap-save, Stockham 1966) in blocks that stand at fixed places.
class BandSplitter {
 public:
  explicit BandSplitter(const BandSplitterOptions& options);

  [[nodiscard]] std::size_t band_count() const noexcept { return responses_.size() + 1; }
  /// How far the bands end behind the input at most.
  [[nodiscard]] std::size_t read_ahead_samples() const noexcept { return reach_ + block_ - 1; }

  /// Appends to each band all whole blocks that `input` allows. `bands`: `band_count()` rings that
  /// only this function advances. Real-time safe.
  void advance(const SampleRing& input, std::vector<SampleRing>& bands) noexcept;

 private:
  void split_block(const SampleRing& input, std::vector<SampleRing>& bands) noexcept;

  std::size_t reach_;  // of all filters together, on each side
  RealFft fft_;
  std::size_t block_;                          // samples a block gives
  std::vector<std::vector<float>> responses_;  // [band][bin], real: phase 0
  std::vector<float> source_, filtered_, rest_;
  std::vector<std::complex<float>> spectrum_, product_;
};

}  // namespace lowstride::dsp::stretch
