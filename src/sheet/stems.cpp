#include "src/sheet/stems.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;
constexpr double beam_thickness = 0.5 * space;
constexpr double beam_distance = 0.78 * space;
constexpr double least_stem = 2.7 * space;

void add_flags(Point tip, bool is_up, int count, std::vector<Mark>& marks) {
  const double down = is_up ? 1.0 : -1.0;  // flags hang back towards the head
  for (int i = 0; i < count; ++i) {
    const double x = tip.x;
    const double y = tip.y + down * i * beam_distance;
    const auto at = [&](double dx, double dy) {
      return Point{x + dx * space, y + down * dy * space};
    };
    marks.emplace_back(
        ShapeMark{{at(0, 0), at(0.1, 0.75), at(1.3, 1.2), at(0.85, 2.7), at(1.0, 1.75),
                   at(0.45, 1.3), at(0, 1.0), at(0, 0.8), at(0, 0.2), at(0, 0)},
                  0.0});
  }
}

/// A beam between two stems, `thickness` towards the heads.
void add_beam(Point from, Point to, double thickness, std::vector<Mark>& marks) {
  marks.emplace_back(polygon({from, to, {to.x, to.y + thickness}, {from.x, from.y + thickness}}));
}

void add_stem(double x, double from_y, double to_y, std::vector<Mark>& marks) {
  marks.emplace_back(LineMark{{x, from_y}, {x, to_y}, stem_line_pt});
}

}  // namespace

std::vector<double> add_stems(std::span<const StemmedNote> notes,
                              std::span<const WrittenValue> values, const StemOptions& options,
                              std::vector<Mark>& marks) {
  const double out = options.is_up ? -1.0 : 1.0;
  const double side = options.is_up ? options.side_pt : -options.side_pt;
  if (notes.size() == 1) {
    const StemmedNote& note = notes.front();
    const WrittenValue& value = values[note.value];
    if (value.value == NoteValue::whole) return {note.y + out * 0.5 * space};
    const int flags = beam_count(value.value);
    double tip = note.y + out * (options.length_pt + std::max(0, flags - 2) * beam_distance);
    if (out * (note.middle_y - tip) > 0.0) tip = note.middle_y;
    add_stem(note.x + side, note.y, tip, marks);
    add_flags({note.x + side, tip}, options.is_up, flags, marks);
    return {tip};
  }

  const StemmedNote& first = notes.front();
  const StemmedNote& last = notes.back();
  const double run = std::max(1.0, last.x - first.x);
  const double rise = std::clamp(0.5 * (last.y - first.y), -space, space);
  const auto line_at = [&](double x) { return first.y + rise * (x - first.x) / run; };
  int most_beams = 1;
  for (const StemmedNote& note : notes) {
    most_beams = std::max(most_beams, beam_count(values[note.value].value));
  }
  // Far enough out that every stem has its length.
  const double inner = (most_beams - 1) * beam_distance;
  double offset = out * (options.length_pt + 0.5 * inner);
  for (const StemmedNote& note : notes) {
    const double needed = note.y + out * (std::min(least_stem, options.length_pt) + inner);
    const double there = line_at(note.x) + offset;
    if (out * (needed - there) > 0.0) offset += needed - there;
    const double reach = line_at(note.x) + offset;
    if (out * (note.middle_y - reach) > 0.0) offset += note.middle_y - reach;
  }
  std::vector<double> ends;
  const auto tip_of = [&](const StemmedNote& note) {
    return Point{note.x + side, line_at(note.x) + offset};
  };
  for (const StemmedNote& note : notes) {
    add_stem(note.x + side, note.y, tip_of(note).y, marks);
    ends.push_back(tip_of(note).y);
  }
  for (int beam = 0; beam < most_beams; ++beam) {
    const double shift = -out * beam * beam_distance;
    const auto has = [&](std::size_t i) {
      return i < notes.size() && beam_count(values[notes[i].value].value) > beam;
    };
    for (std::size_t i = 0; i < notes.size(); ++i) {
      if (!has(i)) continue;
      Point from = tip_of(notes[i]);
      Point to = from;
      if (has(i + 1)) {
        to = tip_of(notes[i + 1]);
      } else if (i == 0 || !has(i - 1)) {
        // A stub towards the neighbour in the group.
        const double stub = 1.1 * space;
        to.x += i + 1 < notes.size() ? stub : -stub;
        to.y = line_at(to.x - side) + offset;
      } else {
        continue;
      }
      if (to.x < from.x) std::swap(from, to);
      from.x -= 0.5 * stem_line_pt;
      to.x += 0.5 * stem_line_pt;
      add_beam({from.x, from.y + shift}, {to.x, to.y + shift}, -out * beam_thickness, marks);
    }
  }
  return ends;
}

void add_bar_rest(double x, double middle_y, std::vector<Mark>& marks) {
  marks.emplace_back(rectangle({x - 0.65 * space, middle_y - space}, 1.3 * space, 0.5 * space));
}

void add_rest(const WrittenValue& value, double x, double middle_y, std::vector<Mark>& marks) {
  switch (value.value) {
    case NoteValue::whole:
      add_bar_rest(x, middle_y, marks);
      break;
    case NoteValue::half:
      marks.emplace_back(
          rectangle({x - 0.65 * space, middle_y - 0.5 * space}, 1.3 * space, 0.5 * space));
      break;
    case NoteValue::quarter:
      marks.emplace_back(GlyphMark{{x, middle_y}, U'\U0001D13D', 2.9 * space});
      break;
    case NoteValue::eighth:
      marks.emplace_back(GlyphMark{{x, middle_y}, U'\U0001D13E', 1.75 * space});
      break;
    case NoteValue::sixteenth:
      marks.emplace_back(GlyphMark{{x, middle_y + 0.5 * space}, U'\U0001D13F', 2.7 * space});
      break;
    case NoteValue::thirty_second:
      marks.emplace_back(GlyphMark{{x, middle_y}, U'\U0001D140', 3.6 * space});
      break;
  }
  for (int dot = 0; dot < value.dot_count; ++dot) {
    marks.emplace_back(ellipse({x + (1.15 + 0.5 * dot) * space, middle_y - 0.5 * space},
                               0.2 * space, 0.2 * space));
  }
}

void add_tuplet(double from_x, double to_x, double y, bool is_above, bool has_bracket,
                std::vector<Mark>& marks) {
  constexpr TextStyle style{Face::serif_italic, 8.0};
  const double middle = 0.5 * (from_x + to_x);
  const double baseline = y + (is_above ? -0.25 * space : 1.45 * space);
  marks.emplace_back(TextMark{{middle, baseline}, "3", style, Align::center});
  if (!has_bracket) return;
  const double line_y = baseline - 0.55 * space;
  const double hook = is_above ? 0.7 * space : -0.7 * space;
  const double gap = 0.9 * space;
  const double left = from_x - head_half_width_pt;
  const double right = to_x + head_half_width_pt;
  const std::array<LineMark, 4> lines{
      LineMark{{left, line_y + hook}, {left, line_y}, thin_line_pt},
      LineMark{{left, line_y}, {middle - gap, line_y}, thin_line_pt},
      LineMark{{middle + gap, line_y}, {right, line_y}, thin_line_pt},
      LineMark{{right, line_y}, {right, line_y + hook}, thin_line_pt}};
  for (const LineMark& line : lines) marks.emplace_back(line);
}

}  // namespace lowstride::sheet
