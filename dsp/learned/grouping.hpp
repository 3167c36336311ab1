#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "dsp/learned/frame_queue.hpp"

namespace lowstride::dsp {

/// Gathers frames into slower ones: slow frame j holds frames `size * j - lead` to
/// `size * j - lead + size - 1`, those that exist. Some lanes are averaged, others take the
/// greatest value.
class Grouping {
 public:
  Grouping(std::size_t mean_lanes, std::size_t maximum_lanes, std::size_t size, std::size_t lead);

  /// Adds the next frame. `maxima` must not be negative. A slow frame that is complete goes to
  /// `out`
  /// (`mean_lanes + maximum_lanes` lanes).
  void add(std::span<const float> means, std::span<const float> maxima, FrameQueue& out);
  /// Gives the last, incomplete slow frame: in all ceil(frames / size).
  void finish(FrameQueue& out);

 private:
  void emit(FrameQueue& out);

  std::size_t size_, lead_;
  std::size_t frame_count_ = 0, emitted_count_ = 0, held_count_ = 0;
  std::vector<float> sums_, maxima_;
};

}  // namespace lowstride::dsp
