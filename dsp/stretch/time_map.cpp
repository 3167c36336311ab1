#include "dsp/stretch/time_map.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace lowstride::dsp::stretch {

TimeMap::TimeMap(std::size_t step_samples, std::size_t memory_samples)
    : step_(static_cast<Place>(step_samples)),
      points_(std::bit_ceil(memory_samples / step_samples + 4), 0.0) {}

void TimeMap::clear() noexcept {
  count_ = 0;
  points_[0] = 0.0;
}

void TimeMap::extend(double ratio) noexcept {
  const double next = value(count_) + static_cast<double>(step_) / ratio;
  ++count_;
  points_[static_cast<std::size_t>(count_) & (points_.size() - 1)] = next;
}

double TimeMap::value(Place point) const noexcept {
  return points_[static_cast<std::size_t>(point) & (points_.size() - 1)];
}

Place TimeMap::oldest() const noexcept {
  return std::max<Place>(0, count_ - static_cast<Place>(points_.size()) + 1);
}

Place TimeMap::step_at(double stretched) const noexcept {
  const auto step = static_cast<Place>(std::floor(stretched / static_cast<double>(step_)));
  return std::clamp<Place>(step, oldest(), count_ - 1);
}

double TimeMap::input_at(double stretched) const noexcept {
  if (count_ == 0) return stretched;
  const Place point = step_at(stretched);
  const double low = value(point);
  const double share = stretched / static_cast<double>(step_) - static_cast<double>(point);
  return low + (value(point + 1) - low) * share;
}

double TimeMap::slope_at(double stretched) const noexcept {
  if (count_ == 0) return 1.0;
  const Place point = step_at(stretched);
  return (value(point + 1) - value(point)) / static_cast<double>(step_);
}

double TimeMap::stretched_at(double input) const noexcept {
  if (count_ == 0) return input;
  Place point = count_ - 1;
  while (point > oldest() && value(point) > input) --point;
  const double low = value(point);
  const double share = (input - low) / (value(point + 1) - low);
  return static_cast<double>(step_) * (static_cast<double>(point) + share);
}

}  // namespace lowstride::dsp::stretch
