#include "src/sheet/staff_painter.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "src/sheet/staff_signs.hpp"
#include "src/sheet/stems.hpp"
#include "src/sheet/written_pitch.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;
constexpr double middle_y = 0.5 * staff_height_pt;
constexpr double sign_width = 1.12 * space;
constexpr int bass_bottom_line = 7 * 2 + 4;    // G2
constexpr int treble_bottom_line = 7 * 4 + 2;  // E4

/// How far the stab of a column is moved aside as a whole.
double stab_shift(const EngravedColumn& column) {
  double shift = 0.0;
  bool is_first = true;
  for (const ColumnHead& head : column.heads) {
    if (!head.is_stab) continue;
    shift = is_first ? head.dx_pt : std::min(shift, head.dx_pt);
    is_first = false;
  }
  return shift;
}

}  // namespace

std::vector<double> line_places(const EngravedBar& bar, const BarPlace& place) {
  std::vector<double> xs(bar.values.size(), place.left_pt);
  for (std::size_t i = 0; i < bar.columns.size(); ++i) {
    if (bar.columns[i].value) xs[*bar.columns[i].value] = place.left_pt + place.columns_pt[i];
  }
  return xs;
}

std::vector<double> stab_places(const EngravedBar& bar, const BarPlace& place) {
  std::vector<double> xs(bar.stab_values.size(), place.left_pt);
  for (std::size_t i = 0; i < bar.columns.size(); ++i) {
    const EngravedColumn& column = bar.columns[i];
    if (!column.stab_value) continue;
    xs[*column.stab_value] = place.left_pt + place.columns_pt[i] + stab_shift(column);
  }
  return xs;
}

bool is_silent(const EngravedBar& bar) {
  const auto is_rest = [](const WrittenValue& value) { return !value.note.has_value(); };
  return std::ranges::all_of(bar.values, is_rest) && std::ranges::all_of(bar.stab_values, is_rest);
}

std::size_t tuplet_end(const std::vector<WrittenValue>& values, std::size_t first) {
  std::size_t last = first;
  while (last + 1 < values.size() && !values[last].ends_tuplet) ++last;
  return last;
}

StaffPainter::StaffPainter(const take::Take& take, const SheetLayout& layout)
    : take_(take), layout_(layout), is_bass_(is_bass_neck(take.neck)) {
  has_stabs_ =
      std::ranges::any_of(layout.bars, [](const SheetBar& bar) { return !bar.stabs.empty(); });
  if (const auto key = key_of(take)) signature_ = theory::key_signature(*key);
}

double StaffPainter::signature_pt() const noexcept {
  return signature_ == 0 ? 0.0 : sign_width * std::abs(signature_) + 0.6 * space;
}

double StaffPainter::y_of(int diatonic) const noexcept {
  const int bottom = is_bass_ ? bass_bottom_line : treble_bottom_line;
  return staff_height_pt - 0.5 * space * (diatonic - bottom);
}

/// Ties and slurs of the line bow away from its stems.
bool StaffPainter::bows_up(double y) const noexcept { return !has_stabs_ && y <= middle_y; }

void StaffPainter::paint_prefix(bool has_meter, std::vector<Mark>& marks) const {
  double x = 0.6 * space;
  if (is_bass_) {
    marks.emplace_back(GlyphMark{{x + 1.4 * space, 1.58 * space}, U'\U0001D122', 3.1 * space});
  } else {
    marks.emplace_back(GlyphMark{{x + 1.3 * space, 2.15 * space}, U'\U0001D11E', 7.0 * space});
    marks.emplace_back(TextMark{{x + 1.3 * space, staff_height_pt + 2.9 * space},
                                "8",
                                {Face::serif_italic, 7.0},
                                Align::center});
  }
  x = clef_width_pt;
  // Places of the signs in the treble clef; in the bass clef two octaves lower.
  constexpr std::array<int, 7> sharps{7 * 5 + 3, 7 * 5 + 0, 7 * 5 + 4, 7 * 5 + 1,
                                      7 * 4 + 5, 7 * 5 + 2, 7 * 4 + 6};
  constexpr std::array<int, 7> flats{7 * 4 + 6, 7 * 5 + 2, 7 * 4 + 5, 7 * 5 + 1,
                                     7 * 4 + 4, 7 * 5 + 0, 7 * 4 + 3};
  for (int i = 0; i < std::abs(signature_); ++i) {
    int diatonic = (signature_ > 0 ? sharps : flats)[static_cast<std::size_t>(i)];
    if (is_bass_) diatonic -= 14;
    add_accidental(signature_ > 0 ? 1 : -1, x + 0.5 * sign_width, y_of(diatonic), marks);
    x += sign_width;
  }
  if (signature_ != 0) x += 0.6 * space;
  if (!has_meter) return;
  constexpr TextStyle style{Face::serif_bold, 14.2};
  marks.emplace_back(TextMark{{x + 1.1 * space, 2.0 * space - 0.15},
                              fmt::format("{}", take_.beats_per_bar),
                              style,
                              Align::center});
  marks.emplace_back(TextMark{{x + 1.1 * space, 4.0 * space - 0.15}, "4", style, Align::center});
}

void StaffPainter::begin_system() {
  open_tie_.reset();
  open_stab_ties_.clear();
  last_head_.reset();
}

void StaffPainter::paint_bar(const EngravedBar& bar, const BarPlace& place,
                             std::vector<Mark>& marks) {
  if (is_silent(bar)) {
    add_bar_rest(0.5 * (place.left_pt + place.right_pt), middle_y, marks);
    return;
  }
  paint_heads(bar, place, marks);
  paint_rests(bar, place, marks);
  paint_line_curves(bar, place, marks);
  paint_stab_ties(bar, place, marks);
  const std::optional<bool> line_is_up = has_stabs_ ? std::optional(false) : std::nullopt;
  paint_stems(bar.values, line_places(bar, place), stacks_of(bar, false), line_is_up, marks);
  paint_stems(bar.stab_values, stab_places(bar, place), stacks_of(bar, true), true, marks);
}

void StaffPainter::paint_heads(const EngravedBar& engraved, const BarPlace& place,
                               std::vector<Mark>& marks) const {
  const SheetBar& bar = layout_.bars[engraved.index];
  for (std::size_t i = 0; i < engraved.columns.size(); ++i) {
    const EngravedColumn& column = engraved.columns[i];
    for (const ColumnHead& head : column.heads) {
      const WrittenValue& value =
          head.is_stab ? engraved.stab_values[*column.stab_value] : engraved.values[*column.value];
      const double column_x = place.left_pt + place.columns_pt[i];
      const double x = column_x + head.dx_pt;
      const double y = y_of(head.diatonic);
      add_ledger_lines(x, y, marks);
      add_head(value.value, !head.is_stab && bar.notes[*value.note].is_dead, x, y, marks);
      if (head.accidental) {
        add_accidental(*head.accidental, column_x + head.accidental_dx_pt, y, marks);
      }
      add_dots(value.dot_count, x, y, marks);
    }
  }
}

void StaffPainter::paint_rests(const EngravedBar& bar, const BarPlace& place,
                               std::vector<Mark>& marks) const {
  const bool has_two_voices = !bar.stab_values.empty();
  for (std::size_t i = 0; i < bar.columns.size(); ++i) {
    const EngravedColumn& column = bar.columns[i];
    const double x = place.left_pt + place.columns_pt[i];
    double high_y = middle_y;
    double low_y = middle_y;
    for (const ColumnHead& head : column.heads) {
      high_y = std::min(high_y, y_of(head.diatonic));
      low_y = std::max(low_y, y_of(head.diatonic));
    }
    constexpr double clear_of_head = 2.4 * space;
    if (column.value && !bar.values[*column.value].note) {
      const double low = std::max(staff_height_pt, low_y + clear_of_head);
      add_rest(bar.values[*column.value], x, has_two_voices ? low : middle_y, marks);
    }
    if (column.stab_value && !bar.stab_values[*column.stab_value].note) {
      const double high = std::min(0.0, high_y - clear_of_head);
      add_rest(bar.stab_values[*column.stab_value], x, high, marks);
    }
  }
}

/// Ties of the line, and hammer-ons, pull-offs and slides.
void StaffPainter::paint_line_curves(const EngravedBar& engraved, const BarPlace& place,
                                     std::vector<Mark>& marks) {
  const SheetBar& bar = layout_.bars[engraved.index];
  const auto xs = line_places(engraved, place);
  for (std::size_t i = 0; i < engraved.values.size(); ++i) {
    const WrittenValue& value = engraved.values[i];
    if (!value.note) continue;
    const SheetNote& note = bar.notes[*value.note];
    const double y = y_of(engraved.pitches.notes[*value.note].diatonic());
    const bool is_above = bows_up(y);
    const double bend = is_above ? -1.0 : 1.0;
    const double tie_y = y + bend * 0.75 * space;
    const double rise = bend * 0.95 * space;
    const bool is_last_value = i + 1 == engraved.values.size();
    const double system_left = place.left_pt + (place.is_first ? 0.3 : 0.8) * space;
    if (value.is_tied_from_previous) {
      const Point to{xs[i] - 0.35 * space, tie_y};
      Point from{system_left, tie_y};
      if (open_tie_) from = open_tie_->from;
      from.y = to.y;
      marks.emplace_back(bow(from, to, rise, 0.3 * space));
      open_tie_.reset();
    }
    if (value.is_tied_to_next) {
      open_tie_ = Tie{{xs[i] + 0.35 * space, tie_y}, is_above};
      if (is_last_value && place.is_last) {
        marks.emplace_back(bow(open_tie_->from, {place.right_pt, tie_y}, rise, 0.3 * space));
        open_tie_.reset();
      }
    }
    const auto end_of = [&](Joint joint, Point head, double side) {
      return joint == Joint::slide ? Point{head.x + side * 0.95 * space, head.y}
                                   : Point{head.x, head.y + bend * 0.85 * space};
    };
    if (note.joint != Joint::none && !value.is_tied_from_previous) {
      const Point from = last_head_ ? *last_head_ : Point{system_left - 0.95 * space, y};
      add_joint(note.joint, end_of(note.joint, from, 1.0), end_of(note.joint, {xs[i], y}, -1.0),
                is_above, false, marks);
    }
    const bool is_end = !value.is_tied_to_next && note.joint_to_next != Joint::none;
    if (is_end && is_last_value && place.is_last) {
      add_joint(note.joint_to_next, end_of(note.joint_to_next, {xs[i], y}, 1.0),
                end_of(note.joint_to_next, {place.right_pt, y}, 0.0), is_above, false, marks);
    }
    last_head_ = Point{xs[i], y};
  }
}

void StaffPainter::paint_stab_ties(const EngravedBar& bar, const BarPlace& place,
                                   std::vector<Mark>& marks) {
  for (std::size_t i = 0; i < bar.columns.size(); ++i) {
    const EngravedColumn& column = bar.columns[i];
    if (!column.stab_value) continue;
    const WrittenValue& value = bar.stab_values[*column.stab_value];
    if (!value.note) continue;
    std::vector<ColumnHead> heads;
    std::ranges::copy_if(column.heads, std::back_inserter(heads), &ColumnHead::is_stab);
    const double x = place.left_pt + place.columns_pt[i] + stab_shift(column);
    const bool is_last_value = *column.stab_value + 1 == bar.stab_values.size();
    std::vector<Tie> ends;
    for (std::size_t k = 0; k < heads.size(); ++k) {
      const bool is_above = 2 * k >= heads.size();
      const double y = y_of(heads[k].diatonic) + (is_above ? -0.6 : 0.6) * space;
      ends.push_back({{x, y}, is_above});
      const double rise = (is_above ? -0.8 : 0.8) * space;
      if (value.is_tied_from_previous) {
        const double from_x = k < open_stab_ties_.size()
                                  ? open_stab_ties_[k].from.x + 0.5 * space
                                  : place.left_pt + (place.is_first ? 0.3 : 0.8) * space;
        marks.emplace_back(bow({from_x, y}, {x - 0.5 * space, y}, rise, 0.25 * space));
      }
      if (value.is_tied_to_next && is_last_value && place.is_last) {
        marks.emplace_back(bow({x + 0.5 * space, y}, {place.right_pt, y}, rise, 0.25 * space));
      }
    }
    open_stab_ties_ = value.is_tied_to_next ? std::move(ends) : std::vector<Tie>();
  }
}

StaffPainter::Stacks StaffPainter::stacks_of(const EngravedBar& bar, bool is_stab) const {
  Stacks stacks((is_stab ? bar.stab_values : bar.values).size());
  for (const EngravedColumn& column : bar.columns) {
    const auto& value = is_stab ? column.stab_value : column.value;
    if (!value) continue;
    for (const ColumnHead& head : column.heads) {
      if (head.is_stab != is_stab) continue;
      const double y = y_of(head.diatonic);
      auto& stack = stacks[*value];
      if (!stack) stack = Stack{y, y};
      stack->high_y = std::min(stack->high_y, y);
      stack->low_y = std::max(stack->low_y, y);
    }
  }
  return stacks;
}

void StaffPainter::paint_stems(const std::vector<WrittenValue>& values,
                               const std::vector<double>& xs, const Stacks& stacks,
                               std::optional<bool> direction, std::vector<Mark>& marks) const {
  const auto groups = beam_groups(values);
  std::vector<bool> is_done(values.size(), false);
  std::vector<bool> is_up(values.size(), false);
  std::vector<double> outer(values.size(), middle_y);
  const auto stem = [&](const std::vector<std::size_t>& group) {
    double highest = middle_y;
    double lowest = middle_y;
    for (const std::size_t i : group) {
      highest = std::min(highest, stacks[i]->high_y);
      lowest = std::max(lowest, stacks[i]->low_y);
    }
    StemOptions options;
    options.is_up = direction.value_or(lowest - middle_y > middle_y - highest);
    std::vector<StemmedNote> notes;
    for (const std::size_t i : group) {
      const double far = options.is_up ? stacks[i]->high_y : stacks[i]->low_y;
      notes.push_back({i, xs[i], far, direction ? far : middle_y});
    }
    const auto ends = add_stems(notes, values, options, marks);
    for (std::size_t k = 0; k < group.size(); ++k) {
      const std::size_t i = group[k];
      is_done[i] = true;
      outer[i] = ends[k];
      is_up[i] = options.is_up;
      if (values[i].value == NoteValue::whole || stacks[i]->high_y == stacks[i]->low_y) continue;
      const double x = xs[i] + (options.is_up ? options.side_pt : -options.side_pt);
      marks.emplace_back(LineMark{{x, stacks[i]->high_y}, {x, stacks[i]->low_y}, stem_line_pt});
    }
  };
  for (const auto& group : groups) stem(group);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (values[i].note && !is_done[i]) stem({i});
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!values[i].begins_tuplet) continue;
    const std::size_t last = tuplet_end(values, i);
    const bool is_beamed = std::ranges::any_of(
        groups, [&](const auto& group) { return group.front() == i && group.back() == last; });
    const bool is_above = direction.value_or(!is_beamed || is_up[i]);
    double edge = is_above ? -0.8 * space : staff_height_pt + 0.8 * space;
    for (std::size_t k = i; k <= last; ++k) {
      if (!stacks[k]) continue;
      edge = is_above ? std::min({edge, outer[k] - 0.3 * space, stacks[k]->high_y - space})
                      : std::max({edge, outer[k] + 0.3 * space, stacks[k]->low_y + space});
    }
    if (is_beamed) edge = is_above ? outer[i] - 0.3 * space : outer[i] + 0.3 * space;
    add_tuplet(xs[i], xs[last], edge, is_above, !is_beamed, marks);
  }
}

}  // namespace lowstride::sheet
