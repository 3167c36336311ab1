#pragma once

#include <optional>

#include "gui/draw/brush.hpp"
#include "gui/model/drilling.hpp"

namespace lowstride::desk {

/// A place on the tab that is filled in.
struct TabPlace {
  int slot = 0;  // half beats from the item's first beat
  int string_number = 1;
};

/// The bars to fill in, at ImGui's cursor and as wide as there is room: a column for each half
/// beat, numbers on strings, marks as in pencil. Gives the place that was clicked.
std::optional<TabPlace> draw_answer_tab(const Brush& brush, const Drilling& drilling);

}  // namespace lowstride::desk
