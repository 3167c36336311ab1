#include "dsp/learned/grouping.hpp"

#include <algorithm>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

Grouping::Grouping(std::size_t mean_lanes, std::size_t maximum_lanes, std::size_t size,
                   std::size_t lead)
    : size_(size), lead_(lead), sums_(mean_lanes), maxima_(maximum_lanes) {
  LOWSTRIDE_EXPECTS(size > 0 && lead < size);
}

void Grouping::add(std::span<const float> means, std::span<const float> maxima, FrameQueue& out) {
  LOWSTRIDE_EXPECTS(means.size() == sums_.size() && maxima.size() == maxima_.size());
  for (std::size_t i = 0; i < means.size(); ++i) sums_[i] += means[i];
  for (std::size_t i = 0; i < maxima.size(); ++i) maxima_[i] = std::max(maxima_[i], maxima[i]);
  ++held_count_;
  ++frame_count_;
  if ((frame_count_ + lead_) % size_ == 0) emit(out);
}

void Grouping::finish(FrameQueue& out) {
  if (held_count_ > 0 && emitted_count_ < (frame_count_ + size_ - 1) / size_) emit(out);
}

void Grouping::emit(FrameQueue& out) {
  LOWSTRIDE_EXPECTS(out.lane_count() == sums_.size() + maxima_.size());
  const std::size_t at = out.grow(1);
  const float share = static_cast<float>(held_count_);
  for (std::size_t i = 0; i < sums_.size(); ++i) out.lane(i)[at] = sums_[i] / share;
  for (std::size_t i = 0; i < maxima_.size(); ++i) out.lane(sums_.size() + i)[at] = maxima_[i];
  std::fill(sums_.begin(), sums_.end(), 0.0F);
  std::fill(maxima_.begin(), maxima_.end(), 0.0F);
  held_count_ = 0;
  ++emitted_count_;
}

}  // namespace lowstride::dsp
