#pragma once

#include <string_view>

#include <imgui.h>

#include "gui/layout/palette.hpp"
#include "gui/model/desk_state.hpp"

namespace lowstride::desk {

/// The fonts of the desk, built for one scale. Owned by ImGui's atlas.
struct Fonts {
  ImFont* text = nullptr;    // 15 px at scale 1
  ImFont* small = nullptr;   // 12 px
  ImFont* number = nullptr;  // 18 px, bold: fret numbers, chord names
  ImFont* mono = nullptr;    // 13 px: sheets
};

/// Builds the atlas from the fonts that the program carries. Call before a frame begins.
[[nodiscard]] Fonts build_fonts(ImFontAtlas& atlas, float scale);

/// Colours, padding and roundings of all widgets.
void apply_style(const Theme& theme, float scale);

/// What everything is drawn with.
struct Brush {
  ImDrawList& list;
  const Theme& theme;
  const Fonts& fonts;
  float scale = 1.0F;

  void fill(const Rect& rect, Colour colour, double alpha = 1.0, float rounding = 0.0F) const;
  void outline(const Rect& rect, Colour colour, float rounding = 0.0F,
               float thickness = 1.0F) const;
  void line(Point from, Point to, Colour colour, float thickness = 1.0F, double alpha = 1.0) const;
  /// Text with its left edge and vertical middle here.
  void text(const ImFont* font, float px, Point at, Colour colour, std::string_view text) const;
  [[nodiscard]] static float text_width(const ImFont* font, float px, std::string_view text);
};

}  // namespace lowstride::desk
