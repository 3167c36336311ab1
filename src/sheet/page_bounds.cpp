#include "src/sheet/page_bounds.hpp"

#include <algorithm>

namespace lowstride::sheet {
namespace {

class Box {
 public:
  void add(double left, double top, double right, double bottom) {
    if (is_empty_) bounds_ = {left, top, right, bottom};
    is_empty_ = false;
    bounds_.left = std::min(bounds_.left, left);
    bounds_.top = std::min(bounds_.top, top);
    bounds_.right = std::max(bounds_.right, right);
    bounds_.bottom = std::max(bounds_.bottom, bottom);
  }
  [[nodiscard]] Bounds bounds() const { return bounds_; }

 private:
  Bounds bounds_;
  bool is_empty_ = true;
};

struct Adder {
  Box& box;
  const TextMeasure& measure;

  void operator()(const TextMark& mark) const {
    const double width = measure(mark.text, mark.style);
    const double left = mark.place.x - (mark.align == Align::left     ? 0.0
                                        : mark.align == Align::center ? 0.5 * width
                                                                      : width);
    box.add(left, mark.place.y - 0.75 * mark.style.size_pt, left + width,
            mark.place.y + 0.25 * mark.style.size_pt);
  }
  void operator()(const GlyphMark& mark) const {
    // Most signs are narrower than high.
    const double half = 0.5 * mark.height_pt;
    box.add(mark.place.x - 0.5 * half, mark.place.y - half, mark.place.x + 0.5 * half,
            mark.place.y + half);
  }
  void operator()(const LineMark& mark) const {
    box.add(std::min(mark.from.x, mark.to.x), std::min(mark.from.y, mark.to.y),
            std::max(mark.from.x, mark.to.x), std::max(mark.from.y, mark.to.y));
  }
  void operator()(const ShapeMark& mark) const {
    for (const Point& point : mark.points) box.add(point.x, point.y, point.x, point.y);
  }
};

struct Mover {
  double x;
  double y;

  void to(Point& point) const { point = {point.x + x, point.y + y}; }
  void operator()(TextMark& mark) const { to(mark.place); }
  void operator()(GlyphMark& mark) const { to(mark.place); }
  void operator()(LineMark& mark) const {
    to(mark.from);
    to(mark.to);
  }
  void operator()(ShapeMark& mark) const {
    for (Point& point : mark.points) to(point);
  }
};

struct Scaler {
  double factor;

  void to(Point& point) const { point = {factor * point.x, factor * point.y}; }
  void operator()(TextMark& mark) const {
    to(mark.place);
    mark.style.size_pt *= factor;
  }
  void operator()(GlyphMark& mark) const {
    to(mark.place);
    mark.height_pt *= factor;
  }
  void operator()(LineMark& mark) const {
    to(mark.from);
    to(mark.to);
    mark.width_pt *= factor;
  }
  void operator()(ShapeMark& mark) const {
    for (Point& point : mark.points) to(point);
  }
};

}  // namespace

Bounds bounds_of(const std::vector<Mark>& marks, const TextMeasure& measure) {
  Box box;
  for (const Mark& mark : marks) std::visit(Adder{box, measure}, mark);
  return box.bounds();
}

void move(std::vector<Mark>& marks, double x, double y) {
  for (Mark& mark : marks) std::visit(Mover{x, y}, mark);
}

void scale(std::vector<Mark>& marks, double factor) {
  for (Mark& mark : marks) std::visit(Scaler{factor}, mark);
}

}  // namespace lowstride::sheet
