#include "src/sheet/page.hpp"

#include <cmath>

namespace lowstride::sheet {

ShapeMark polygon(const std::vector<Point>& corners, double grey) {
  ShapeMark shape{{corners.front()}, grey};
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const Point& from = corners[i];
    const Point& to = corners[(i + 1) % corners.size()];
    shape.points.insert(shape.points.end(), {from, to, to});
  }
  return shape;
}

ShapeMark rectangle(Point upper_left, double width, double height, double grey) {
  const auto [x, y] = upper_left;
  return polygon({{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}, grey);
}

ShapeMark ellipse(Point centre, double radius_x, double radius_y, double turn_radians,
                  double grey) {
  // A quarter of a circle as one curve: control points at 4/3 (sqrt 2 - 1) of the radius.
  const double control = 4.0 / 3.0 * (std::sqrt(2.0) - 1.0);
  const std::vector<Point> round{{1, 0},         {1, control},  {control, 1},  {0, 1},
                                 {-control, 1},  {-1, control}, {-1, 0},       {-1, -control},
                                 {-control, -1}, {0, -1},       {control, -1}, {1, -control},
                                 {1, 0}};
  ShapeMark shape;
  shape.grey = grey;
  const double cosine = std::cos(turn_radians);
  const double sine = std::sin(turn_radians);
  for (const Point& point : round) {
    const double x = radius_x * point.x;
    const double y = radius_y * point.y;
    shape.points.push_back({centre.x + x * cosine + y * sine, centre.y - x * sine + y * cosine});
  }
  return shape;
}

ShapeMark bow(Point from, Point to, double rise, double thickness) {
  const double third = (to.x - from.x) / 3.0;
  const double outer = rise * 4.0 / 3.0;
  const double inner = outer - std::copysign(thickness, rise) * 4.0 / 3.0;
  return {{from,
           {from.x + third, from.y + outer},
           {to.x - third, to.y + outer},
           to,
           {to.x - third, to.y + inner},
           {from.x + third, from.y + inner},
           from},
          0.0};
}

}  // namespace lowstride::sheet
