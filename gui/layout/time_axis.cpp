#include "gui/layout/time_axis.hpp"

#include <algorithm>

namespace lowstride::desk {
namespace {

constexpr double margin_share = 0.02;

TimeAxis kept_in_view(TimeAxis axis, std::int64_t length_samples) {
  const auto length = static_cast<double>(length_samples);
  const double span = axis.width_px * axis.samples_per_px;
  const double margin = span * margin_share;
  const double last = std::max(length + margin - span, -margin);
  axis.begin_samples = std::clamp(axis.begin_samples, -margin, last);
  return axis;
}

}  // namespace

double least_samples_per_px() noexcept { return 0.05; }

double most_samples_per_px(const TimeAxis& axis, std::int64_t length_samples) noexcept {
  const double all = static_cast<double>(length_samples) * (1.0 + 2.0 * margin_share);
  return std::max(all / std::max(1.0F, axis.width_px), 2.0 * least_samples_per_px());
}

TimeAxis zoomed(TimeAxis axis, double factor, float px, std::int64_t length_samples) {
  const double kept = axis.sample(px);
  axis.samples_per_px = std::clamp(axis.samples_per_px * factor, least_samples_per_px(),
                                   most_samples_per_px(axis, length_samples));
  axis.begin_samples = kept - static_cast<double>(px - axis.left_px) * axis.samples_per_px;
  return kept_in_view(axis, length_samples);
}

TimeAxis moved(TimeAxis axis, double px, std::int64_t length_samples) {
  axis.begin_samples += px * axis.samples_per_px;
  return kept_in_view(axis, length_samples);
}

TimeAxis showing(TimeAxis axis, double begin_samples, double end_samples,
                 std::int64_t length_samples) {
  const double margin = (end_samples - begin_samples) * margin_share;
  const double wanted =
      (end_samples - begin_samples + 2.0 * margin) / std::max(1.0F, axis.width_px);
  axis.samples_per_px =
      std::clamp(wanted, least_samples_per_px(), most_samples_per_px(axis, length_samples));
  const double span = axis.width_px * axis.samples_per_px;
  axis.begin_samples = (begin_samples + end_samples - span) / 2.0;
  return kept_in_view(axis, length_samples);
}

TimeAxis revealing(TimeAxis axis, double sample, std::int64_t length_samples) {
  const double span = axis.width_px * axis.samples_per_px;
  const double edge = span / 12.0;
  if (sample < axis.begin_samples + edge || sample > axis.end_samples() - edge) {
    axis.begin_samples = sample - span / 5.0;
  }
  return kept_in_view(axis, length_samples);
}

}  // namespace lowstride::desk
