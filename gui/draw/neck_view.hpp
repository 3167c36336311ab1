#pragma once

#include <optional>

#include "gui/draw/brush.hpp"
#include "src/take/take.hpp"

namespace lowstride::desk {

/// What the neck shows.
struct NeckScene {
  const take::Take& take;
  std::optional<std::size_t> sounding;  // the note that is heard now
  std::optional<std::size_t> selected;  // with every other place that gives its pitch
  std::optional<std::size_t> chord;     // whose tones are marked faintly
  bool is_mirrored = false;             // for left-handers: the lowest string on the right
};

/// A place on the neck.
struct NeckPlace {
  int string_number = 1;
  int fret = 0;  // counted from the capo
};

/// Draws the neck upright, the nut on top as in chord grids, low strings left. The frets shown are
/// those around what sounds and is selected: twelve at least where there is room.
void draw_neck(const Brush& brush, const NeckScene& scene, const Rect& rect);

/// The place under a point, if it is on the neck.
[[nodiscard]] std::optional<NeckPlace> neck_place_at(const NeckScene& scene, const Rect& rect,
                                                     float scale, Point point);

}  // namespace lowstride::desk
