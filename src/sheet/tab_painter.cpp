#include "src/sheet/tab_painter.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/remarks.hpp"
#include "src/sheet/staff_signs.hpp"
#include "src/sheet/stems.hpp"
#include "src/sheet/text_columns.hpp"

namespace lowstride::sheet {
namespace {

constexpr double space = staff_space_pt;
constexpr double stem_gap_pt = 5.5;  // between tab and stems
constexpr double stem_length_pt = 2.6 * space;

}  // namespace

TabPainter::TabPainter(const take::Take& take, const SheetLayout& layout, StaffKind kind,
                       TextMeasure measure)
    : take_(take),
      layout_(layout),
      kind_(kind),
      measure_(std::move(measure)),
      remark_signs_(remark_signs(remarks_in(take, layout))) {
  has_stabs_ =
      std::ranges::any_of(layout.bars, [](const SheetBar& bar) { return !bar.stabs.empty(); });
}

double TabPainter::height_pt() const noexcept {
  return tab_space_pt * (take_.neck.string_count() - 1);
}

double TabPainter::above_pt() const noexcept {
  if (kind_ == StaffKind::staff_and_tab) return 0.0;
  return has_stabs_ ? 9.0 + stem_gap_pt + stem_length_pt : 9.0;
}

double TabPainter::below_pt() const noexcept {
  return kind_ == StaffKind::staff_and_tab ? 10.0 : stem_gap_pt + 4.5 * space;
}

double TabPainter::y_of(int string_number) const noexcept {
  return tab_space_pt * (std::clamp(string_number, 1, take_.neck.string_count()) - 1);
}

void TabPainter::begin_system() { last_number_.reset(); }

void TabPainter::paint_bar(const EngravedBar& bar, const BarPlace& place,
                           std::vector<Mark>& marks) {
  paint_line(bar, place, marks);
  paint_stabs(bar, place, marks);
  if (kind_ == StaffKind::staff_and_tab) return;
  if (is_silent(bar)) {
    add_bar_rest(0.5 * (place.left_pt + place.right_pt), 0.5 * height_pt(), marks);
    return;
  }
  paint_rhythm(bar.values, line_places(bar, place), false, marks);
  paint_rhythm(bar.stab_values, stab_places(bar, place), true, marks);
}

void TabPainter::paint_number(const std::string& text, double x, double y,
                              std::vector<Mark>& marks) const {
  const double half = 0.5 * measure_(text, fret_style) + 0.7;
  marks.emplace_back(rectangle({x - half, y - 2.9}, 2.0 * half, 5.8, 1.0));
  marks.emplace_back(TextMark{{x, y + 2.75}, text, fret_style, Align::center});
}

/// What stands at a note beside its number: a doubt, and the numbers of remarks about it.
void TabPainter::paint_signs(const SheetNote& note, double x, std::vector<Mark>& marks) {
  const double y = kind_ == StaffKind::tab_only ? -4.0 : height_pt() + 8.5;
  if (note.is_doubt) {
    signs_.has_doubt = true;
    marks.emplace_back(TextMark{{x, y}, "?", small_style, Align::center, doubt_grey});
  }
  const auto sign = remark_signs_.find(note.note_index);
  if (sign == remark_signs_.end()) return;
  const double doubt = note.is_doubt ? 0.5 * measure_("?", small_style) + 1.5 : 0.0;
  marks.emplace_back(TextMark{
      {x + doubt, y}, sign->second, small_style, note.is_doubt ? Align::left : Align::center});
}

void TabPainter::paint_line(const EngravedBar& engraved, const BarPlace& place,
                            std::vector<Mark>& marks) {
  const SheetBar& bar = layout_.bars[engraved.index];
  const auto xs = line_places(engraved, place);
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
    signs_.has_held = signs_.has_held || (is_piece && !note.is_dead);
    signs_.has_dead = signs_.has_dead || note.is_dead;
    signs_.has_off_neck = signs_.has_off_neck || (!note.position && !note.is_dead);
    const int beyond = note.midi < neck::lowest_midi(take_.neck) || note.is_dead ? strings : 1;
    const double y = y_of(note.position ? note.position->string_number : beyond);
    paint_number(text, xs[i], y, marks);
    if (!is_piece) paint_signs(note, xs[i], marks);
    const Number number{xs[i], y, 0.5 * measure_(text, fret_style) + 0.9};
    // A slide leans the way the pitch goes; a slur lies over the numbers, on the highest string
    // over the tab.
    const auto join = [&](Joint joint, const Number& from, const Number& to, bool is_upward) {
      if (joint == Joint::slide) {
        const double lean = is_upward ? -2.0 : 2.0;
        const bool is_level = from.y == to.y;
        add_joint(joint, {from.x + from.half_width, from.y - (is_level ? lean : 0.0)},
                  {to.x - to.half_width, to.y + (is_level ? lean : 0.0)}, true, false, marks);
        signs_.has_slide = true;
      } else {
        add_joint(joint, {from.x, from.y - 3.4}, {to.x, to.y - 3.4}, true, true, marks);
        signs_.has_hammer = true;
      }
    };
    const auto is_upward = [&](std::size_t index) {
      return index > 0 && take_.notes[index].midi > take_.notes[index - 1].midi;
    };
    if (note.joint != Joint::none && !is_piece) {
      const Number from = last_number_.value_or(Number{place.left_pt, y, 0.0});
      join(note.joint, from, number, is_upward(note.note_index));
    }
    const bool is_end = note.joint_to_next != Joint::none && *value.note + 1 == bar.notes.size();
    if (is_end && place.is_last && !value.is_tied_to_next) {
      join(note.joint_to_next, number, {place.right_pt, y, 0.0}, is_upward(note.note_index + 1));
    }
    last_number_ = number;
  }
}

void TabPainter::paint_stabs(const EngravedBar& engraved, const BarPlace& place,
                             std::vector<Mark>& marks) {
  const SheetBar& bar = layout_.bars[engraved.index];
  for (std::size_t i = 0; i < engraved.columns.size(); ++i) {
    const auto& stab_value = engraved.columns[i].stab_value;
    if (!stab_value) continue;
    const WrittenValue& value = engraved.stab_values[*stab_value];
    if (!value.note) continue;
    const SheetStab& stab = bar.stabs[*value.note];
    if (value.onset_tatums != stab.onset_tatums) continue;
    signs_.has_held = signs_.has_held || stab.is_tied_from_previous;
    for (const neck::Position& where : stab.positions) {
      paint_number(stab_text(stab, where), place.left_pt + place.columns_pt[i],
                   y_of(where.string_number), marks);
    }
  }
}

/// Stems and beams of a voice, under the tab or over it.
void TabPainter::paint_rhythm(const std::vector<WrittenValue>& values,
                              const std::vector<double>& xs, bool is_up,
                              std::vector<Mark>& marks) const {
  const double y = is_up ? -stem_gap_pt : height_pt() + stem_gap_pt;
  const double out = is_up ? -1.0 : 1.0;
  // The rests of two voices keep out of each other's and the numbers' way.
  const double rest_y = has_stabs_ ? y + out * 1.3 * space : 0.5 * height_pt();
  std::vector<bool> is_grouped(values.size(), false);
  StemOptions options;
  options.is_up = is_up;
  options.side_pt = 0.0;
  options.length_pt = stem_length_pt;
  for (const auto& group : beam_groups(values)) {
    std::vector<StemmedNote> notes;
    for (const std::size_t i : group) {
      notes.push_back({i, xs[i], y, y});
      is_grouped[i] = true;
    }
    (void)add_stems(notes, values, options, marks);
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    const WrittenValue& value = values[i];
    if (!value.note) {
      add_rest(value, xs[i], rest_y, marks);
      continue;
    }
    if (!is_grouped[i] && value.value != NoteValue::whole) {
      StemOptions single = options;
      // A half note has half a stem (common practice in tab).
      if (value.value == NoteValue::half) single.length_pt *= 0.5;
      const std::array<StemmedNote, 1> note{StemmedNote{i, xs[i], y, y}};
      (void)add_stems(note, values, single, marks);
    }
    for (int dot = 0; dot < value.dot_count; ++dot) {
      marks.emplace_back(
          ellipse({xs[i] + (0.6 + 0.5 * dot) * space, y + out * space}, 0.2 * space, 0.2 * space));
    }
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!values[i].begins_tuplet) continue;
    add_tuplet(xs[i], xs[tuplet_end(values, i)], y + out * options.length_pt, is_up, false, marks);
  }
}

}  // namespace lowstride::sheet
