#include "src/sheet/system_painter.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/sheet/page_bounds.hpp"
#include "src/sheet/staff_signs.hpp"
#include "src/sheet/text_columns.hpp"

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;
constexpr double meter_width = 2.4 * space;

}  // namespace

SystemPainter::SystemPainter(const take::Take& take, const SheetLayout& layout, StaffKind kind,
                             TextMeasure measure)
    : take_(take),
      layout_(layout),
      kind_(kind),
      measure_(std::move(measure)),
      is_bass_(is_bass_neck(take.neck)),
      staff_(take, layout),
      tab_(take, layout, kind, measure_) {}

double SystemPainter::prefix_pt(bool is_first) const {
  double width = clef_width_pt;
  if (kind_ == StaffKind::staff_and_tab) width += staff_.signature_pt();
  if (is_first) width += meter_width;
  return width;
}

/// Thick line, thin line and two dots, on staff and tab; x is the bar line's place.
void SystemPainter::paint_repeat(double x, bool is_begin, double staff_top, double tab_top,
                                 std::vector<Mark>& marks) const {
  const double inward = is_begin ? 1.0 : -1.0;
  const auto on = [&](double top, double height, double dot_distance) {
    const auto line = [&](double line_x, double width) {
      marks.emplace_back(LineMark{{line_x, top}, {line_x, top + height}, width});
    };
    line(x + inward * 1.2, 2.4);
    line(x + inward * 4.6, 0.8);
    for (const double side : {-0.5, 0.5}) {
      marks.emplace_back(
          ellipse({x + inward * 8.0, top + 0.5 * height + side * dot_distance}, 1.15, 1.15));
    }
  };
  if (kind_ == StaffKind::staff_and_tab) on(staff_top, staff_height_pt, space);
  on(tab_top, tab_.height_pt(), tab_space_pt * (take_.neck.string_count() % 2 == 0 ? 2.0 : 1.0));
}

/// Staff and tab lines with their bar lines.
void SystemPainter::paint_lines(std::span<const EngravedBar> bars, double prefix, double staff_top,
                                double tab_top, std::span<const BarPlace> places, bool is_last,
                                std::vector<Mark>& marks) const {
  const bool has_staff = kind_ == StaffKind::staff_and_tab;
  const double width = places.back().right_pt;
  const double tab_bottom = tab_top + tab_.height_pt();
  for (int i = 0; i < 5 && has_staff; ++i) {
    const double y = staff_top + space * i;
    marks.emplace_back(LineMark{{0.0, y}, {width, y}, thin_line_pt});
  }
  for (int i = 0; i < take_.neck.string_count(); ++i) {
    const double y = tab_top + tab_space_pt * i;
    marks.emplace_back(LineMark{{0.0, y}, {width, y}, thin_line_pt, 0.25});
  }
  const auto bar_line = [&](double x, double line_width) {
    if (has_staff) {
      marks.emplace_back(LineMark{{x, staff_top}, {x, staff_top + staff_height_pt}, line_width});
    }
    marks.emplace_back(LineMark{{x, tab_top}, {x, tab_bottom}, line_width});
  };
  marks.emplace_back(LineMark{{0.0, has_staff ? staff_top : tab_top}, {0.0, tab_bottom}, 0.8});
  for (std::size_t i = 0; i < places.size(); ++i) {
    const SheetBar& bar = layout_.bars[bars[i].index];
    if (bar.begins_repeat) {
      paint_repeat(i == 0 ? prefix : places[i - 1].right_pt, true, staff_top, tab_top, marks);
    }
    if (bar.repeat_times > 0) {
      paint_repeat(places[i].right_pt, false, staff_top, tab_top, marks);
    } else if (is_last && i + 1 == places.size()) {
      bar_line(places[i].right_pt - 1.2, 2.4);
      bar_line(places[i].right_pt - 5.0, 0.8);
    } else {
      bar_line(places[i].right_pt, 0.8);
    }
  }
}

/// What stands over bars: passages in boxes, endings in brackets, how often a repeat is played.
/// `y` is the baseline of the row.
void SystemPainter::paint_over_bars(std::span<const EngravedBar> bars,
                                    std::span<const BarPlace> places, double y,
                                    std::vector<Mark>& marks) const {
  constexpr TextStyle style{Face::sans_bold, 8.5};
  const double upper = y - 8.5;
  const double lower = y + 3.0;
  const auto line = [&marks](Point from, Point to) {
    marks.emplace_back(LineMark{from, to, thin_line_pt});
  };
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const SheetBar& bar = layout_.bars[bars[i].index];
    double x = places[i].left_pt;
    if (bar.ending > 0) {
      const std::size_t index = bars[i].index;
      const bool begins = index == 0 || layout_.bars[index - 1].ending != bar.ending;
      const bool ends =
          index + 1 == layout_.bars.size() || layout_.bars[index + 1].ending != bar.ending;
      const double left = places[i].left_pt + (begins ? 1.5 : 0.0);
      const double right = places[i].right_pt - (ends ? 1.5 : 0.0);
      line({left, upper}, {right, upper});
      if (begins) {
        line({left, upper}, {left, lower + 2.0});
        marks.emplace_back(TextMark{{left + 3.0, y}, fmt::format("{}.", bar.ending), style});
        x = left + 16.0;
      }
      if (ends && bar.repeat_times > 0) line({right, upper}, {right, lower + 2.0});
    }
    for (const take::Passage& passage : take_.passages) {
      if (!begins_in(passage, bar)) continue;
      const double right = x + measure_(passage.name, style) + 6.0;
      marks.emplace_back(TextMark{{x + 3.0, y}, passage.name, style});
      line({x, upper}, {right, upper});
      line({x, lower}, {right, lower});
      line({x, upper}, {x, lower});
      line({right, upper}, {right, lower});
      x = right + 6.0;
    }
    if (bar.repeat_times > 2) {
      marks.emplace_back(TextMark{{places[i].right_pt, y},
                                  fmt::format("{} times", bar.repeat_times),
                                  {Face::serif_italic, 8.5},
                                  Align::right});
    }
  }
}

/// "TAB" and, where there is no staff to say it, the meter.
void SystemPainter::paint_tab_prefix(double tab_top, bool has_meter,
                                     std::vector<Mark>& marks) const {
  const double middle = tab_top + 0.5 * tab_.height_pt();
  const double letter = std::min(8.5, tab_.height_pt() / 2.4);
  for (int i = 0; i < 3; ++i) {
    marks.emplace_back(TextMark{{2.0 * space, middle + (i - 1) * letter * 0.98 + 0.36 * letter},
                                std::string(1, "TAB"[i]),
                                {Face::sans_bold, letter},
                                Align::center});
  }
  if (!has_meter) return;
  const double x = clef_width_pt + 1.1 * space;
  constexpr TextStyle style{Face::serif_bold, 12.5};
  marks.emplace_back(
      TextMark{{x, middle - 0.7}, fmt::format("{}", take_.beats_per_bar), style, Align::center});
  marks.emplace_back(TextMark{{x, middle + 9.3}, "4", style, Align::center});
}

void SystemPainter::paint_chords(const EngravedBar& engraved, const BarPlace& place, double y,
                                 PaintedSystem& system) const {
  for (const SheetChord& chord : layout_.bars[engraved.index].chords) {
    const auto column =
        std::ranges::find(engraved.columns, chord.onset_tatums, &EngravedColumn::onset_tatums);
    if (column == engraved.columns.end()) continue;
    const double x = place.left_pt +
                     place.columns_pt[static_cast<std::size_t>(column - engraved.columns.begin())] -
                     head_half_width_pt;
    (void)add_chord_name(chord_name_parts(chord_text(chord)), {x, y},
                         chord.is_doubt ? doubt_grey : 0.0, measure_, system.marks);
    system.has_doubtful_chord = system.has_doubtful_chord || chord.is_doubt;
  }
}

/// The number of a system's first bar, with those of the bars that it stands for as well while
/// these do not run into the first chord name.
std::string SystemPainter::bar_number(const SheetBar& bar, double room) const {
  std::string number = fmt::format("{}", bar.number);
  if (bar.repeated_numbers.empty()) return number;
  const std::string all = fmt::format("{} ({})", number, fmt::join(bar.repeated_numbers, ", "));
  return measure_(all, small_style) < room ? all : number;
}

PaintedSystem SystemPainter::paint(std::span<const EngravedBar> bars, const SystemPlace& place) {
  PaintedSystem system;
  const double prefix = prefix_pt(place.is_first);
  const bool has_staff = kind_ == StaffKind::staff_and_tab;
  staff_.begin_system();
  tab_.begin_system();

  // Staff and tab are painted about their own top lines, so that what reaches beyond is known.
  std::vector<std::vector<double>> columns;
  columns.reserve(bars.size());
  std::vector<BarPlace> places;
  std::vector<Mark> staff;
  std::vector<Mark> tab;
  double x = prefix;
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const double right = x + bars[i].width_pt(place.stretch);
    columns.push_back(bars[i].places_pt(place.stretch));
    places.push_back({x, right, columns.back(), i == 0, i + 1 == bars.size()});
    if (has_staff) staff_.paint_bar(bars[i], places.back(), staff);
    tab_.paint_bar(bars[i], places.back(), tab);
    x = right;
  }
  const Bounds ink = bounds_of(staff, measure_);
  const Bounds tab_ink = bounds_of(tab, measure_);
  if (has_staff) staff_.paint_prefix(place.is_first, staff);

  bool has_passage = false;  // or an ending, or a number of times
  bool has_chord = false;
  for (const EngravedBar& engraved : bars) {
    const SheetBar& bar = layout_.bars[engraved.index];
    has_chord = has_chord || !bar.chords.empty();
    has_passage = has_passage || bar.ending > 0 || bar.repeat_times > 2;
    for (const take::Passage& passage : take_.passages) {
      has_passage = has_passage || begins_in(passage, bar);
    }
  }
  constexpr double passage_height = 15.0;
  constexpr double chord_height = 10.0;
  const double above =
      has_staff ? std::max(is_bass_ ? 7.0 : 10.0, -ink.top + 3.5) : tab_.above_pt();
  const double chord_y = (has_passage ? passage_height : 0.0) + (has_chord ? chord_height : 0.0);
  const double staff_top = chord_y + above;
  // Slurs over the highest string reach above the tab.
  const double below = std::max({3.2 * space, ink.bottom - staff_height_pt + 8.0,
                                 ink.bottom - staff_height_pt - tab_ink.top + 3.0});
  const double tab_top = has_staff ? staff_top + staff_height_pt + below : staff_top;

  paint_lines(bars, prefix, staff_top, tab_top, places, place.is_last, system.marks);
  if (has_passage) paint_over_bars(bars, places, 9.5, system.marks);
  move(staff, 0.0, staff_top);
  move(tab, 0.0, tab_top);
  system.marks.insert(system.marks.end(), staff.begin(), staff.end());
  paint_tab_prefix(tab_top, !has_staff && place.is_first, system.marks);
  system.marks.insert(system.marks.end(), tab.begin(), tab.end());
  for (std::size_t i = 0; i < bars.size(); ++i) paint_chords(bars[i], places[i], chord_y, system);
  const SheetBar& first = layout_.bars[bars.front().index];
  if (first.number >= 1) {
    const double above_line = has_staff && !is_bass_ ? 10.5 : 4.0;
    system.marks.emplace_back(TextMark{{0.0, (has_staff ? staff_top : tab_top) - above_line},
                                       bar_number(first, prefix - 4.0),
                                       small_style});
  }
  system.height_pt = tab_top + tab_.height_pt() + tab_.below_pt();
  return system;
}

}  // namespace lowstride::sheet
