#pragma once

#include <vector>

#include "src/sheet/page.hpp"

namespace lowstride::sheet {

/// A box around ink; empty (all zero) without marks.
struct Bounds {
  double left = 0.0;
  double top = 0.0;
  double right = 0.0;
  double bottom = 0.0;
};

/// The box that marks fill. Bézier curves count with their control points, text with three quarters
/// of its size above the baseline and a quarter below.
[[nodiscard]] Bounds bounds_of(const std::vector<Mark>& marks, const TextMeasure& measure);

/// Moves marks to the right and down.
void move(std::vector<Mark>& marks, double x, double y);

/// Makes marks larger or smaller about the origin, lines and letters too. `factor` > 0.
void scale(std::vector<Mark>& marks, double factor);

}  // namespace lowstride::sheet
