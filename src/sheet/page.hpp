#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <variant>
#include <vector>

namespace lowstride::sheet {

// A printed page as marks with places. Everything is in points (1/72 inch) from the upper left
// corner, y growing downwards. Pages are laid out by pure functions (pages.hpp) and painted by
// page_painter.hpp, which decides nothing.

struct Point {
  double x = 0.0;
  double y = 0.0;
  bool operator==(const Point&) const = default;
};

enum class Face : std::uint8_t { serif, serif_bold, serif_italic, sans, sans_bold };
enum class Align : std::uint8_t { left, center, right };

struct TextStyle {
  Face face = Face::sans;
  double size_pt = 10.0;
  bool operator==(const TextStyle&) const = default;
};

/// A line of text; `place` is on its baseline.
struct TextMark {
  Point place;
  std::string text;
  TextStyle style;
  Align align = Align::left;
  double grey = 0.0;  // 0 = black
  bool operator==(const TextMark&) const = default;
};

/// A sign of the Unicode block of musical symbols (U+1D100) or an accidental: its ink is
/// `height_pt` high and centred on `place`.
struct GlyphMark {
  Point place;
  char32_t code_point = 0;
  double height_pt = 0.0;
  double grey = 0.0;
  bool operator==(const GlyphMark&) const = default;
};

struct LineMark {
  Point from;
  Point to;
  double width_pt = 0.5;
  double grey = 0.0;
  bool operator==(const LineMark&) const = default;
};

/// A closed shape of cubic Bézier curves, filled: `points` holds the start and then three points
/// for each curve. Straight edges are curves with their control points on the ends.
struct ShapeMark {
  std::vector<Point> points;
  double grey = 0.0;  // 1 = white, to clear the ground under a number
  bool operator==(const ShapeMark&) const = default;
};

using Mark = std::variant<TextMark, GlyphMark, LineMark, ShapeMark>;

struct Page {
  double width_pt = 0.0;
  double height_pt = 0.0;
  std::vector<Mark> marks;  // painted in order
};

/// Width of a line of text in points.
using TextMeasure = std::function<double(const std::string& text, const TextStyle& style)>;

// Shapes that sheets are made of.
[[nodiscard]] ShapeMark polygon(const std::vector<Point>& corners, double grey = 0.0);
[[nodiscard]] ShapeMark rectangle(Point upper_left, double width, double height, double grey = 0.0);
/// An ellipse, its long axis turned by `turn_radians` against the clock.
[[nodiscard]] ShapeMark ellipse(Point centre, double radius_x, double radius_y,
                                double turn_radians = 0.0, double grey = 0.0);
/// A tie or slur from one point to another, bulging by `rise` (negative: upwards).
[[nodiscard]] ShapeMark bow(Point from, Point to, double rise, double thickness);

}  // namespace lowstride::sheet
