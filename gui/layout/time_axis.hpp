#pragma once

#include <cstdint>

namespace lowstride::desk {

/// The one time axis of all lanes. Times are samples of the take as doubles (exact for hours); a
/// pixel is made of them at the last moment.
struct TimeAxis {
  double begin_samples = 0.0;      // at `left_px`
  double samples_per_px = 1000.0;  // > 0
  float left_px = 0.0F;
  float width_px = 1.0F;

  [[nodiscard]] float px(double sample) const noexcept {
    return left_px + static_cast<float>((sample - begin_samples) / samples_per_px);
  }
  [[nodiscard]] double sample(double px) const noexcept {
    return begin_samples + (px - left_px) * samples_per_px;
  }
  [[nodiscard]] double end_samples() const noexcept {
    return begin_samples + static_cast<double>(width_px) * samples_per_px;
  }

  bool operator==(const TimeAxis&) const = default;
};

/// How far one can zoom: from 20 pixels a sample to the whole take with a margin of 2 %.
[[nodiscard]] double least_samples_per_px() noexcept;
[[nodiscard]] double most_samples_per_px(const TimeAxis& axis,
                                         std::int64_t length_samples) noexcept;

/// Zooms by `factor` (> 1 shows more) and keeps the time under `px` where it is.
[[nodiscard]] TimeAxis zoomed(TimeAxis axis, double factor, float px, std::int64_t length_samples);
/// Moves by pixels; the take stays in view.
[[nodiscard]] TimeAxis moved(TimeAxis axis, double px, std::int64_t length_samples);
/// Shows [begin, end) with a margin on both sides.
[[nodiscard]] TimeAxis showing(TimeAxis axis, double begin_samples, double end_samples,
                               std::int64_t length_samples);
/// The least move that brings a time into view, a fifth of the width from the edge.
[[nodiscard]] TimeAxis revealing(TimeAxis axis, double sample, std::int64_t length_samples);

}  // namespace lowstride::desk
