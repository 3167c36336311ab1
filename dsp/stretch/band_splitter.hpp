#pragma once

#include <cstddef>
#include <vector>

#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

struct BandSplitterOptions {
  double sample_rate_hz = 44100.0;
  std::size_t channel_count = 2;
  std::vector<double> crossovers_hz = {700.0, 2000.0};  // ascending
};

/// Splits a signal into bands whose sum is the signal, sample for sample and with no delay: linear
/// phase low-passes (Blackman-windowed sinc) and their complements, computed `read_ahead_samples()`
/// behind the input.
class BandSplitter {
 public:
  explicit BandSplitter(const BandSplitterOptions& options);

  [[nodiscard]] std::size_t band_count() const noexcept { return filters_.size() + 1; }
  [[nodiscard]] std::size_t read_ahead_samples() const noexcept { return read_ahead_; }

  /// Appends to each band all that `input` allows; the bands end `read_ahead_samples()` before
  /// `input`. `bands`: `band_count()` rings that only this function advances. At most
  /// `max_step_samples` a call is done at once; more is done in pieces. Real-time safe.
  void advance(const SampleRing& input, std::vector<SampleRing>& bands) noexcept;

  static constexpr std::size_t max_step_samples = 512;

 private:
  void split_step(const SampleRing& input, std::vector<SampleRing>& bands,
                  std::size_t count) noexcept;

  std::vector<std::vector<float>> filters_;  // odd lengths, symmetric, one a crossover
  std::size_t read_ahead_ = 0;
  std::vector<float> source_;  // [max_step + longest reach on both sides]
  std::vector<float> low_;
};

}  // namespace lowstride::dsp::stretch
