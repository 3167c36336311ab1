#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace lowstride::dsp {

/// Frames that wait between two layers: first in, first out, lane by lane (a lane is one channel of
/// one row), time contiguous in a lane so that arithmetic runs over frames.
/// Grows while the layers' delays fill and keeps its size from then on.
class FrameQueue {
 public:
  /// Values after the last frame of a lane that may be read and written, though they mean nothing:
  /// arithmetic may work in whole vectors.
  static constexpr std::size_t slack_frames = 32;

  explicit FrameQueue(std::size_t lane_count);

  [[nodiscard]] std::size_t lane_count() const noexcept { return lane_count_; }
  [[nodiscard]] std::size_t frame_count() const noexcept { return end_ - begin_; }
  /// Values from a lane to the next.
  [[nodiscard]] std::size_t stride() const noexcept { return stride_; }

  /// First waiting frame of a lane; the following frames lie behind it. Valid until `grow`.
  [[nodiscard]] float* lane(std::size_t index) noexcept {
    return values_.data() + index * stride_ + begin_;
  }
  [[nodiscard]] const float* lane(std::size_t index) const noexcept {
    return values_.data() + index * stride_ + begin_;
  }

  /// Makes room for `count` frames behind the last; their values are for the caller to write.
  /// Returns the index of the first of them.
  std::size_t grow(std::size_t count);
  /// The same, filled with zeros.
  void grow_zeros(std::size_t count);
  /// Appends frames from another queue of as many lanes.
  void append(const FrameQueue& other, std::size_t first_frame, std::size_t count);
  /// Takes the first `count` frames away. Requires `count <= frame_count()`.
  void drop(std::size_t count) noexcept;

 private:
  std::size_t lane_count_;
  std::size_t stride_ = 0;
  std::size_t begin_ = 0;
  std::size_t end_ = 0;
  std::vector<float> values_;
};

}  // namespace lowstride::dsp
