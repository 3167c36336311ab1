#pragma once

#include <cstddef>
#include <vector>

#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

/// Reads a ring at places between its samples: Kaiser-windowed sinc (beta 9, 90 dB), whose pass
/// band narrows with the step so that nothing folds back. At whole places and steps up to 1 it
/// gives the samples themselves. Source: Smith & Gossett, "A flexible sampling-rate conversion
/// method", ICASSP 1984. Real-time safe after construction.
class Resampler {
 public:
  Resampler();

  /// Samples of the ring used on each side of a place.
  [[nodiscard]] static std::size_t reach_samples(double step) noexcept;

  /// Value of a channel at `place`, when read with `step` samples from value to value.
  [[nodiscard]] float value(const SampleRing& ring, std::size_t channel, double place,
                            double step) const noexcept;

 private:
  std::vector<float> table_;  // right half of the kernel, `phases_` values a zero crossing
};

}  // namespace lowstride::dsp::stretch
