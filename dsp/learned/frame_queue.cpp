#include "dsp/learned/frame_queue.hpp"

#include <algorithm>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

/// An odd number of cache lines, so that neighbouring lanes do not fall into one cache set.
std::size_t stride_for(std::size_t frames) {
  const std::size_t lines = (frames + FrameQueue::slack_frames + 15) / 16;
  return 16 * (lines | 1U);
}

}  // namespace

FrameQueue::FrameQueue(std::size_t lane_count) : lane_count_(lane_count) {
  LOWSTRIDE_EXPECTS(lane_count > 0);
}

std::size_t FrameQueue::grow(std::size_t count) {
  const std::size_t held = frame_count();
  if (end_ + count + slack_frames > stride_) {
    if (held + count + slack_frames > stride_ / 2) {
      const std::size_t stride = stride_for(2 * (held + count));
      std::vector<float> larger(lane_count_ * stride);
      for (std::size_t i = 0; i < lane_count_; ++i) {
        std::copy_n(values_.begin() + static_cast<std::ptrdiff_t>(i * stride_ + begin_), held,
                    larger.begin() + static_cast<std::ptrdiff_t>(i * stride));
      }
      values_ = std::move(larger);
      stride_ = stride;
    } else {
      for (std::size_t i = 0; i < lane_count_; ++i) {
        float* first = values_.data() + i * stride_;
        std::copy(first + begin_, first + end_, first);
      }
    }
    begin_ = 0;
    end_ = held;
  }
  end_ += count;
  return held;
}

void FrameQueue::grow_zeros(std::size_t count) {
  const std::size_t first = grow(count);
  for (std::size_t i = 0; i < lane_count_; ++i) std::fill_n(lane(i) + first, count, 0.0F);
}

void FrameQueue::append(const FrameQueue& other, std::size_t first_frame, std::size_t count) {
  LOWSTRIDE_EXPECTS(other.lane_count_ == lane_count_);
  LOWSTRIDE_EXPECTS(first_frame + count <= other.frame_count());
  const std::size_t first = grow(count);
  for (std::size_t i = 0; i < lane_count_; ++i) {
    std::copy_n(other.lane(i) + first_frame, count, lane(i) + first);
  }
}

void FrameQueue::drop(std::size_t count) noexcept {
  LOWSTRIDE_EXPECTS(count <= frame_count());
  begin_ += count;
}

}  // namespace lowstride::dsp
