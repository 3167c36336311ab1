#include "src/sheet/system_painter.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/harmony.hpp"
#include "src/sheet/page_bounds.hpp"
#include "src/sheet/stems.hpp"
#include "src/sheet/text_columns.hpp"

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;
constexpr double staff_height = 4.0 * space;
constexpr double clef_width = 4.0 * space;
constexpr double sign_width = 1.12 * space;
constexpr double meter_width = 2.4 * space;
constexpr double doubt_grey = 0.45;
constexpr int bass_bottom_line = 7 * 2 + 4;    // G2
constexpr int treble_bottom_line = 7 * 4 + 2;  // E4

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

void add_head_shape(NoteValue value, bool is_dead, double x, double y, std::vector<Mark>& marks) {
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

/// X of every value of a bar.
std::vector<double> value_places(const EngravedBar& bar, double left,
                                 const std::vector<double>& places) {
  std::vector<double> xs(bar.values.size(), left);
  for (std::size_t i = 0; i < bar.columns.size(); ++i) {
    if (bar.columns[i].value) xs[*bar.columns[i].value] = left + places[i];
  }
  return xs;
}

bool is_silent(const EngravedBar& bar) {
  return std::ranges::none_of(bar.values,
                              [](const WrittenValue& value) { return value.note.has_value(); });
}

/// The middle of a run of values that form one tuplet, from `first` on.
std::size_t tuplet_end(const std::vector<WrittenValue>& values, std::size_t first) {
  std::size_t last = first;
  while (last + 1 < values.size() && !values[last].ends_tuplet) ++last;
  return last;
}

}  // namespace

SystemPainter::SystemPainter(const take::Take& take, const SheetLayout& layout, StaffKind kind,
                             TextMeasure measure)
    : take_(take),
      layout_(layout),
      kind_(kind),
      measure_(std::move(measure)),
      is_bass_(is_bass_neck(take.neck)) {
  if (const auto key = key_of(take)) signature_ = theory::key_signature(*key);
}

double SystemPainter::prefix_pt(bool is_first) const {
  double width = clef_width;
  if (kind_ == StaffKind::staff_and_tab && signature_ != 0) {
    width += sign_width * std::abs(signature_) + 0.6 * space;
  }
  if (is_first) width += meter_width;
  return width;
}

double SystemPainter::y_of(const WrittenPitch& pitch) const {
  const int bottom = is_bass_ ? bass_bottom_line : treble_bottom_line;
  return staff_height - 0.5 * space * (pitch.diatonic() - bottom);
}

double SystemPainter::tab_height() const { return tab_space_pt * (take_.neck.string_count() - 1); }

/// Clef, key and meter of a staff whose top line is at y = 0.
void SystemPainter::paint_prefix(bool is_first, std::vector<Mark>& marks) const {
  double x = 0.6 * space;
  if (is_bass_) {
    marks.emplace_back(GlyphMark{{x + 1.4 * space, 1.58 * space}, U'\U0001D122', 3.1 * space});
  } else {
    marks.emplace_back(GlyphMark{{x + 1.3 * space, 2.15 * space}, U'\U0001D11E', 7.0 * space});
    marks.emplace_back(TextMark{{x + 1.3 * space, staff_height + 2.9 * space},
                                "8",
                                {Face::serif_italic, 7.0},
                                Align::center});
  }
  x = clef_width;
  // Places of the signs in the treble clef; in the bass clef two octaves lower.
  constexpr std::array<int, 7> sharps{7 * 5 + 3, 7 * 5 + 0, 7 * 5 + 4, 7 * 5 + 1,
                                      7 * 4 + 5, 7 * 5 + 2, 7 * 4 + 6};
  constexpr std::array<int, 7> flats{7 * 4 + 6, 7 * 5 + 2, 7 * 4 + 5, 7 * 5 + 1,
                                     7 * 4 + 4, 7 * 5 + 0, 7 * 4 + 3};
  for (int i = 0; i < std::abs(signature_); ++i) {
    int diatonic = (signature_ > 0 ? sharps : flats)[static_cast<std::size_t>(i)];
    if (is_bass_) diatonic -= 14;
    const double y = y_of({{diatonic % 7, 0}, diatonic / 7, std::nullopt});
    add_accidental(signature_ > 0 ? 1 : -1, x + 0.5 * sign_width, y, marks);
    x += sign_width;
  }
  if (signature_ != 0) x += 0.6 * space;
  if (!is_first) return;
  constexpr TextStyle style{Face::serif_bold, 14.2};
  marks.emplace_back(TextMark{{x + 1.1 * space, 2.0 * space - 0.15},
                              fmt::format("{}", take_.beats_per_bar),
                              style,
                              Align::center});
  marks.emplace_back(TextMark{{x + 1.1 * space, 4.0 * space - 0.15}, "4", style, Align::center});
}

void SystemPainter::paint_head(const SheetBar& bar, const EngravedBar& engraved,
                               const WrittenValue& value, double x,
                               std::vector<Mark>& marks) const {
  const SheetNote& note = bar.notes[*value.note];
  const WrittenPitch& pitch = engraved.pitches[*value.note];
  const double y = y_of(pitch);
  const double ledger = 1.05 * space;
  const auto add_ledger = [&](double line) {
    marks.emplace_back(LineMark{{x - ledger, line}, {x + ledger, line}, thin_line_pt + 0.15});
  };
  constexpr double hair = 0.01;
  const int above = static_cast<int>(std::floor((hair - y) / space));
  const int below = static_cast<int>(std::floor((hair + y - staff_height) / space));
  for (int i = 1; i <= above; ++i) add_ledger(-i * space);
  for (int i = 1; i <= below; ++i) add_ledger(staff_height + i * space);
  add_head_shape(value.value, note.is_dead, x, y, marks);
  if (pitch.accidental && !value.is_tied_from_previous) {
    add_accidental(*pitch.accidental, x - head_half_width_pt - 0.85 * space, y, marks);
  }
  const bool is_on_line = std::lround(2.0 * y / space) % 2 == 0;
  for (int dot = 0; dot < value.dot_count; ++dot) {
    marks.emplace_back(ellipse(
        {x + head_half_width_pt + (0.55 + 0.5 * dot) * space, is_on_line ? y - 0.5 * space : y},
        0.2 * space, 0.2 * space));
  }
}

void SystemPainter::paint_stems(const EngravedBar& engraved, const std::vector<double>& xs,
                                std::vector<Mark>& marks) const {
  const double middle = 0.5 * staff_height;
  const auto groups = beam_groups(engraved.values);
  std::vector<bool> is_grouped(engraved.values.size(), false);
  std::vector<double> outer(engraved.values.size(), middle);
  std::vector<bool> is_up(engraved.values.size(), false);
  const auto stem = [&](const std::vector<std::size_t>& group) {
    double highest = middle;
    double lowest = middle;
    std::vector<StemmedNote> notes;
    for (const std::size_t i : group) {
      const double y = y_of(engraved.pitches[*engraved.values[i].note]);
      highest = std::min(highest, y);
      lowest = std::max(lowest, y);
      notes.push_back({i, xs[i], y, middle});
    }
    StemOptions options;
    options.is_up = lowest - middle > middle - highest;
    const auto ends = add_stems(notes, engraved.values, options, marks);
    for (std::size_t k = 0; k < group.size(); ++k) {
      is_grouped[group[k]] = true;
      outer[group[k]] = ends[k];
      is_up[group[k]] = options.is_up;
    }
  };
  for (const auto& group : groups) stem(group);
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    if (engraved.values[i].note && !is_grouped[i]) stem({i});
  }
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    if (!engraved.values[i].begins_tuplet) continue;
    const std::size_t last = tuplet_end(engraved.values, i);
    const bool is_beamed = std::ranges::any_of(
        groups, [&](const auto& group) { return group.front() == i && group.back() == last; });
    const bool is_above = !is_beamed || is_up[i];
    double edge = is_above ? -0.8 * space : staff_height + 0.8 * space;
    for (std::size_t k = i; k <= last; ++k) {
      if (!engraved.values[k].note) continue;
      const double head = y_of(engraved.pitches[*engraved.values[k].note]);
      edge = is_above ? std::min({edge, outer[k] - 0.3 * space, head - space})
                      : std::max({edge, outer[k] + 0.3 * space, head + space});
    }
    if (is_beamed) edge = is_above ? outer[i] - 0.3 * space : outer[i] + 0.3 * space;
    add_tuplet(xs[i], xs[last], edge, is_above, !is_beamed, marks);
  }
}

void SystemPainter::paint_bar_on_staff(const EngravedBar& engraved, double left,
                                       const std::vector<double>& places, double right,
                                       bool is_first, bool is_last, std::vector<Mark>& marks) {
  const SheetBar& bar = layout_.bars[engraved.index];
  const double middle = 0.5 * staff_height;
  if (is_silent(engraved)) {
    add_bar_rest(0.5 * (left + right), middle, marks);
    return;
  }
  const auto xs = value_places(engraved, left, places);
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    const WrittenValue& value = engraved.values[i];
    if (!value.note) {
      add_rest(value, xs[i], middle, marks);
      continue;
    }
    paint_head(bar, engraved, value, xs[i], marks);
    const double y = y_of(engraved.pitches[*value.note]);
    // Ties bow away from the stem: below a head on or under the middle line's upper side.
    const bool is_above = y <= middle;
    const double bend = is_above ? -1.0 : 1.0;
    const double tie_y = y + bend * 0.75 * space;
    const double rise = bend * 0.95 * space;
    if (value.is_tied_from_previous) {
      const Point to{xs[i] - 0.35 * space, tie_y};
      Point from{left + (is_first ? 0.3 : 0.8) * space, tie_y};
      if (open_tie_) from = *open_tie_;
      from.y = to.y;
      marks.emplace_back(bow(from, to, rise, 0.3 * space));
      open_tie_.reset();
    }
    if (value.is_tied_to_next) {
      open_tie_ = Point{xs[i] + 0.35 * space, tie_y};
      if (i + 1 == engraved.values.size() && is_last) {
        marks.emplace_back(bow(*open_tie_, {right, tie_y}, rise, 0.3 * space));
        open_tie_.reset();
      }
    }
  }
  paint_stems(engraved, xs, marks);
}

void SystemPainter::paint_tab_bar(const EngravedBar& engraved, double left,
                                  const std::vector<double>& places, double right, double top,
                                  PaintedSystem& system) const {
  const SheetBar& bar = layout_.bars[engraved.index];
  const auto xs = value_places(engraved, left, places);
  const int strings = take_.neck.string_count();
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    const WrittenValue& value = engraved.values[i];
    if (!value.note) continue;
    const SheetNote& note = bar.notes[*value.note];
    const bool is_piece = value.is_tied_from_previous;
    // A note held over a bar line is shown in parentheses; within the bar its staff says enough.
    const bool is_shown =
        !is_piece || value.onset_tatums == note.onset_tatums || kind_ == StaffKind::tab_only;
    if (!is_shown) continue;
    std::string text = note_text(note);
    if (is_piece && !note.is_tied_from_previous && note.position && !note.is_dead) {
      text = fmt::format("({})", text);
    }
    system.has_held = system.has_held || (is_piece && !note.is_dead);
    system.has_dead = system.has_dead || note.is_dead;
    system.has_off_neck = system.has_off_neck || (!note.position && !note.is_dead);
    const int string = note.position ? note.position->string_number
                       : note.midi < neck::lowest_midi(take_.neck) || note.is_dead ? strings
                                                                                   : 1;
    const double y = top + tab_space_pt * (std::clamp(string, 1, strings) - 1);
    const double half = 0.5 * measure_(text, fret_style) + 0.7;
    system.marks.emplace_back(rectangle({xs[i] - half, y - 2.9}, 2.0 * half, 5.8, 1.0));
    system.marks.emplace_back(TextMark{{xs[i], y + 2.75}, text, fret_style, Align::center});
    if (note.is_doubt && !is_piece) {
      system.has_doubt = true;
      const double below = kind_ == StaffKind::tab_only ? -4.0 : tab_height() + 8.5;
      system.marks.emplace_back(
          TextMark{{xs[i], top + below}, "?", small_style, Align::center, doubt_grey});
    }
  }
  if (kind_ == StaffKind::tab_only) paint_tab_rhythm(engraved, xs, right, top, system.marks);
}

/// Under a tab without a staff, stems and beams say the rhythm.
void SystemPainter::paint_tab_rhythm(const EngravedBar& engraved, const std::vector<double>& xs,
                                     double right, double top, std::vector<Mark>& marks) const {
  const double y = top + tab_height() + 5.5;
  const double rest_y = top + 0.5 * tab_height();
  if (is_silent(engraved)) {
    const double left = xs.empty() ? right : xs.front();
    add_bar_rest(0.5 * (left + right) - space, rest_y, marks);
    return;
  }
  std::vector<bool> is_grouped(engraved.values.size(), false);
  StemOptions options;
  options.side_pt = 0.0;
  options.length_pt = 2.6 * space;
  for (const auto& group : beam_groups(engraved.values)) {
    std::vector<StemmedNote> notes;
    for (const std::size_t i : group) {
      notes.push_back({i, xs[i], y, y});
      is_grouped[i] = true;
    }
    (void)add_stems(notes, engraved.values, options, marks);
  }
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    const WrittenValue& value = engraved.values[i];
    if (!value.note) {
      add_rest(value, xs[i], rest_y, marks);
      continue;
    }
    if (!is_grouped[i] && value.value != NoteValue::whole) {
      StemOptions single = options;
      // A half note has half a stem (common practice in tab).
      if (value.value == NoteValue::half) single.length_pt *= 0.5;
      const std::array<StemmedNote, 1> note{StemmedNote{i, xs[i], y, y}};
      (void)add_stems(note, engraved.values, single, marks);
    }
    for (int dot = 0; dot < value.dot_count; ++dot) {
      marks.emplace_back(
          ellipse({xs[i] + (0.6 + 0.5 * dot) * space, y + space}, 0.2 * space, 0.2 * space));
    }
  }
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    if (!engraved.values[i].begins_tuplet) continue;
    add_tuplet(xs[i], xs[tuplet_end(engraved.values, i)], y + options.length_pt, false, false,
               marks);
  }
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
  if (kind_ == StaffKind::staff_and_tab) on(staff_top, staff_height, space);
  on(tab_top, tab_height(), tab_space_pt * (take_.neck.string_count() % 2 == 0 ? 2.0 : 1.0));
}

/// Staff and tab lines with their bar lines.
void SystemPainter::paint_lines(std::span<const EngravedBar> bars, double prefix, double staff_top,
                                double tab_top, std::span<const double> bar_lines, bool is_last,
                                std::vector<Mark>& marks) const {
  const bool has_staff = kind_ == StaffKind::staff_and_tab;
  const double width = bar_lines.back();
  const double tab_bottom = tab_top + tab_height();
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
      marks.emplace_back(LineMark{{x, staff_top}, {x, staff_top + staff_height}, line_width});
    }
    marks.emplace_back(LineMark{{x, tab_top}, {x, tab_bottom}, line_width});
  };
  marks.emplace_back(LineMark{{0.0, has_staff ? staff_top : tab_top}, {0.0, tab_bottom}, 0.8});
  for (std::size_t i = 0; i < bar_lines.size(); ++i) {
    const SheetBar& bar = layout_.bars[bars[i].index];
    if (bar.begins_repeat) {
      paint_repeat(i == 0 ? prefix : bar_lines[i - 1], true, staff_top, tab_top, marks);
    }
    if (bar.repeat_times > 0) {
      paint_repeat(bar_lines[i], false, staff_top, tab_top, marks);
    } else if (is_last && i + 1 == bar_lines.size()) {
      bar_line(bar_lines[i] - 1.2, 2.4);
      bar_line(bar_lines[i] - 5.0, 0.8);
    } else {
      bar_line(bar_lines[i], 0.8);
    }
  }
}

/// What stands over bars: passages in boxes, endings in brackets, how often a repeat is played.
/// `y` is the baseline of the row.
void SystemPainter::paint_over_bars(std::span<const EngravedBar> bars,
                                    std::span<const double> lefts,
                                    std::span<const double> bar_lines, double y,
                                    std::vector<Mark>& marks) const {
  constexpr TextStyle style{Face::sans_bold, 8.5};
  const double upper = y - 8.5;
  const double lower = y + 3.0;
  const auto line = [&marks](Point from, Point to) {
    marks.emplace_back(LineMark{from, to, thin_line_pt});
  };
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const SheetBar& bar = layout_.bars[bars[i].index];
    double x = lefts[i];
    if (bar.ending > 0) {
      const std::size_t index = bars[i].index;
      const bool begins = index == 0 || layout_.bars[index - 1].ending != bar.ending;
      const bool ends =
          index + 1 == layout_.bars.size() || layout_.bars[index + 1].ending != bar.ending;
      const double left = lefts[i] + (begins ? 1.5 : 0.0);
      const double right = bar_lines[i] - (ends ? 1.5 : 0.0);
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
      marks.emplace_back(TextMark{{bar_lines[i], y},
                                  fmt::format("{} times", bar.repeat_times),
                                  {Face::serif_italic, 8.5},
                                  Align::right});
    }
  }
}

PaintedSystem SystemPainter::paint(std::span<const EngravedBar> bars, const SystemPlace& place) {
  PaintedSystem system;
  const double prefix = prefix_pt(place.is_first);
  const bool has_staff = kind_ == StaffKind::staff_and_tab;
  open_tie_.reset();

  // The staff is painted about its own top line, so that what reaches beyond it is known.
  std::vector<double> lefts;
  std::vector<double> bar_lines;
  double x = prefix;
  std::vector<Mark> staff;
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const double right = x + bars[i].width_pt(place.stretch);
    const auto places = bars[i].places_pt(place.stretch);
    if (has_staff) {
      paint_bar_on_staff(bars[i], x, places, right, i == 0, i + 1 == bars.size(), staff);
    }
    lefts.push_back(x);
    bar_lines.push_back(right);
    x = right;
  }
  const Bounds ink = bounds_of(staff, measure_);
  if (has_staff) paint_prefix(place.is_first, staff);

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
  const double above = has_staff ? std::max(is_bass_ ? 7.0 : 10.0, -ink.top + 3.5) : 9.0;
  const double chord_y = (has_passage ? passage_height : 0.0) + (has_chord ? chord_height : 0.0);
  const double staff_top = chord_y + above;
  const double below = has_staff ? std::max(3.2 * space, ink.bottom - staff_height + 8.0) : 0.0;
  const double tab_top = has_staff ? staff_top + staff_height + below : staff_top;

  paint_lines(bars, prefix, staff_top, tab_top, bar_lines, place.is_last, system.marks);
  if (has_passage) paint_over_bars(bars, lefts, bar_lines, 9.5, system.marks);
  move(staff, 0.0, staff_top);
  system.marks.insert(system.marks.end(), staff.begin(), staff.end());
  const double tab_middle = tab_top + 0.5 * tab_height();
  const double letter = std::min(8.5, tab_height() / 2.4);
  for (int i = 0; i < 3; ++i) {
    system.marks.emplace_back(
        TextMark{{2.0 * space, tab_middle + (i - 1) * letter * 0.98 + 0.36 * letter},
                 std::string(1, "TAB"[i]),
                 {Face::sans_bold, letter},
                 Align::center});
  }
  if (!has_staff && place.is_first) {
    const double x_meter = clef_width + 1.1 * space;
    constexpr TextStyle style{Face::serif_bold, 12.5};
    system.marks.emplace_back(TextMark{
        {x_meter, tab_middle - 0.7}, fmt::format("{}", take_.beats_per_bar), style, Align::center});
    system.marks.emplace_back(TextMark{{x_meter, tab_middle + 9.3}, "4", style, Align::center});
  }
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const SheetBar& bar = layout_.bars[bars[i].index];
    const auto places = bars[i].places_pt(place.stretch);
    paint_tab_bar(bars[i], lefts[i], places, bar_lines[i], tab_top, system);
    for (const SheetChord& chord : bar.chords) {
      const auto column =
          std::ranges::find(bars[i].columns, chord.onset_tatums, &EngravedColumn::onset_tatums);
      if (column == bars[i].columns.end()) continue;
      const double chord_x = lefts[i] +
                             places[static_cast<std::size_t>(column - bars[i].columns.begin())] -
                             head_half_width_pt;
      (void)add_chord_name(chord_name_parts(chord_text(chord)), {chord_x, chord_y},
                           chord.is_doubt ? doubt_grey : 0.0, measure_, system.marks);
      system.has_doubt = system.has_doubt || chord.is_doubt;
    }
  }
  // The number of the system's first bar.
  const SheetBar& first = layout_.bars[bars.front().index];
  if (first.number >= 1) {
    std::string number = fmt::format("{}", first.number);
    if (!first.repeated_numbers.empty()) {
      number += fmt::format(" ({})", fmt::join(first.repeated_numbers, ", "));
    }
    system.marks.emplace_back(
        TextMark{{0.0, (has_staff ? staff_top : tab_top) - (has_staff && !is_bass_ ? 10.5 : 4.0)},
                 fmt::format("{}", first.number),
                 small_style});
  }
  system.height_pt = tab_top + tab_height() + (has_staff ? 10.0 : 5.5 + 4.5 * space);
  return system;
}

}  // namespace lowstride::sheet
