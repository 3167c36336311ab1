#include "src/sheet/staff_signs.hpp"

#include <cmath>
#include <iterator>

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;

/// A ring: the inner ellipse is a hole, so that staff lines show through it.
ShapeMark ring(ShapeMark outer, const ShapeMark& inner) {
  const Point start = outer.points.front();
  const auto go = [&outer](Point from, Point to) {
    outer.points.insert(outer.points.end(), {from, to, to});
  };
  go(start, inner.points.back());
  outer.points.insert(outer.points.end(), std::next(inner.points.rbegin()), inner.points.rend());
  go(inner.points.front(), start);
  return outer;
}

}  // namespace

void add_accidental(int alteration, double x, double y, std::vector<Mark>& marks) {
  switch (alteration) {
    case 0:
      marks.emplace_back(GlyphMark{{x, y}, U'\u266E', 2.8 * space});
      break;
    case 1:
      marks.emplace_back(GlyphMark{{x, y}, U'\u266F', 2.75 * space});
      break;
    case -1:
      marks.emplace_back(GlyphMark{{x, y - 0.62 * space}, U'\u266D', 2.4 * space});
      break;
    case 2:
      marks.emplace_back(GlyphMark{{x, y}, U'\U0001D12A', 1.0 * space});
      break;
    default:
      marks.emplace_back(GlyphMark{{x, y - 0.62 * space}, U'\U0001D12B', 2.4 * space});
      break;
  }
}

void add_head(NoteValue value, bool is_dead, double x, double y, std::vector<Mark>& marks) {
  if (is_dead) {
    const double r = 0.52 * space;
    marks.emplace_back(LineMark{{x - r, y - r}, {x + r, y + r}, 1.1});
    marks.emplace_back(LineMark{{x - r, y + r}, {x + r, y - r}, 1.1});
    return;
  }
  if (value == NoteValue::whole) {
    marks.emplace_back(ring(ellipse({x, y}, 0.86 * space, 0.5 * space),
                            ellipse({x, y}, 0.43 * space, 0.33 * space, -0.9)));
  } else if (value == NoteValue::half) {
    marks.emplace_back(ring(ellipse({x, y}, 0.68 * space, 0.46 * space, 0.42),
                            ellipse({x, y}, 0.58 * space, 0.23 * space, 0.56)));
  } else {
    marks.emplace_back(ellipse({x, y}, 0.68 * space, 0.45 * space, 0.36));
  }
}

void add_ledger_lines(double x, double y, std::vector<Mark>& marks) {
  constexpr double half_width = 1.05 * space;
  constexpr double hair = 0.01;
  const auto add = [&](double line) {
    marks.emplace_back(
        LineMark{{x - half_width, line}, {x + half_width, line}, thin_line_pt + 0.15});
  };
  const int above = static_cast<int>(std::floor((hair - y) / space));
  const int below = static_cast<int>(std::floor((hair + y - staff_height_pt) / space));
  for (int i = 1; i <= above; ++i) add(-i * space);
  for (int i = 1; i <= below; ++i) add(staff_height_pt + i * space);
}

void add_dots(int dot_count, double x, double y, std::vector<Mark>& marks) {
  const bool is_on_line = std::lround(2.0 * y / space) % 2 == 0;
  for (int dot = 0; dot < dot_count; ++dot) {
    marks.emplace_back(ellipse(
        {x + head_half_width_pt + (0.55 + 0.5 * dot) * space, is_on_line ? y - 0.5 * space : y},
        0.2 * space, 0.2 * space));
  }
}

void add_joint(Joint joint, Point from, Point to, bool is_above, bool has_letter,
               std::vector<Mark>& marks) {
  if (joint == Joint::none) return;
  if (joint == Joint::slide) {
    marks.emplace_back(LineMark{from, to, 0.8});
    return;
  }
  const double out = is_above ? -1.0 : 1.0;
  marks.emplace_back(bow(from, to, out * 0.9 * space, 0.25 * space));
  if (!has_letter) return;
  const double y =
      is_above ? std::min(from.y, to.y) - 1.25 * space : std::max(from.y, to.y) + 2.1 * space;
  marks.emplace_back(TextMark{{0.5 * (from.x + to.x), y},
                              joint == Joint::hammer_on ? "H" : "P",
                              {Face::sans, 5.6},
                              Align::center});
}

}  // namespace lowstride::sheet
