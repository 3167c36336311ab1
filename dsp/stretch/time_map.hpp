#pragma once

#include <cstddef>
#include <vector>

#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

/// Which place of the input is heard at which place of the stretched sound: a line that grows by
/// steps of `step_samples`, straight within each. It is only ever extended, so that everything
/// planned on it stays true when the speed changes. Real-time safe after construction.
class TimeMap {
 public:
  /// Remembers at least the newest `memory_samples` of the stretched sound.
  TimeMap(std::size_t step_samples, std::size_t memory_samples);

  void clear() noexcept;
  /// One more step during which the sound takes `ratio` times as long as the input did.
  void extend(double ratio) noexcept;

  /// End of what is planned, on either time line.
  [[nodiscard]] Place stretched_end() const noexcept { return step_ * count_; }
  [[nodiscard]] double input_end() const noexcept { return value(count_); }

  /// Place in the input for a place in the stretched sound within what is remembered; beyond the
  /// end (or before the start) the nearest step goes on.
  [[nodiscard]] double input_at(double stretched) const noexcept;
  /// Samples of input per sample of the stretched sound there.
  [[nodiscard]] double slope_at(double stretched) const noexcept;
  /// The inverse of `input_at`.
  [[nodiscard]] double stretched_at(double input) const noexcept;

 private:
  [[nodiscard]] double value(Place point) const noexcept;
  [[nodiscard]] Place step_at(double stretched) const noexcept;
  [[nodiscard]] Place oldest() const noexcept;

  Place step_;
  Place count_ = 0;             // steps planned
  std::vector<double> points_;  // input place at step i, newest kept; size is a power of two
};

}  // namespace lowstride::dsp::stretch
