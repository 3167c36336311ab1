#include "src/sheet/engraving.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "src/sheet/text_columns.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet {
namespace {

constexpr double spring_exponent = 0.55;
constexpr double least_gap_pt = 2.2;
constexpr double bar_lead_pt = 6.5;   // between a bar line and the first ink
constexpr double bar_trail_pt = 4.5;  // between the last ink and the bar line
constexpr double dot_width_pt = 0.8 * staff_space_pt;
constexpr double flag_width_pt = 1.0 * staff_space_pt;
constexpr double chord_gap_pt = 5.0;
constexpr double repeat_width_pt = 8.0;

double spring_of(int tatums) {
  return std::pow(static_cast<double>(tatums) / tatums_per_beat, spring_exponent);
}

/// What begins in one place: a value of the line, one of the stabs, or both.
EngravedColumn column_at(const SheetBar& bar, const EngravedBar& engraved, int onset_tatums,
                         std::optional<std::size_t> line_index,
                         std::optional<std::size_t> stab_index, const TextMeasure& measure) {
  EngravedColumn column;
  column.onset_tatums = onset_tatums;
  column.value = line_index;
  column.stab_value = stab_index;
  const WrittenValue* line = line_index ? &engraved.values[*line_index] : nullptr;
  const WrittenValue* stab = stab_index ? &engraved.stab_values[*stab_index] : nullptr;
  const bool has_note = line != nullptr && line->note;
  const bool has_stab = stab != nullptr && stab->note;
  const ColumnHeads heads = column_heads(
      has_note ? &engraved.pitches.notes[*line->note] : nullptr,
      has_stab ? std::span<const WrittenPitch>(engraved.pitches.stabs[*stab->note])
               : std::span<const WrittenPitch>(),
      has_note && !line->is_tied_from_previous, has_stab && !stab->is_tied_from_previous);
  column.heads = heads.heads;
  if (!column.heads.empty()) {
    column.left_pt = heads.left_pt;
    column.right_pt = heads.right_pt;
  }
  double behind = 0.0;
  for (const WrittenValue* value : {line, stab}) {
    if (value == nullptr) continue;
    double right = value->dot_count > 0 ? dot_width_pt * value->dot_count : 0.0;
    if (value->note && beam_count(value->value) > 0) right += 0.3 * flag_width_pt;
    behind = std::max(behind, right);
    if (value->note) continue;
    column.left_pt = std::max(column.left_pt, 0.55 * staff_space_pt);
    column.right_pt = std::max(column.right_pt, 0.7 * staff_space_pt);
  }
  column.right_pt += behind;
  const auto make_room = [&](const std::string& text) {
    const double fret = 0.5 * measure(text, fret_style) + 0.8;
    column.left_pt = std::max(column.left_pt, fret);
    column.right_pt = std::max(column.right_pt, fret);
  };
  if (has_note) make_room(note_text(bar.notes[*line->note]));
  if (has_stab) {
    const SheetStab& struck = bar.stabs[*stab->note];
    for (const neck::Position& place : struck.positions) make_room(stab_text(struck, place));
  }
  return column;
}

/// For each place where something begins, the value that begins there.
std::map<int, std::size_t> onsets_of(const std::vector<WrittenValue>& values) {
  std::map<int, std::size_t> onsets;
  for (std::size_t i = 0; i < values.size(); ++i) onsets.emplace(values[i].onset_tatums, i);
  return onsets;
}

/// Widens what lies under a chord name that would run into the next one or out of its bar.
void make_room_for_chords(const SheetBar& bar, const TextMeasure& measure,
                          std::vector<EngravedColumn>& columns) {
  for (std::size_t i = 0; i < bar.chords.size(); ++i) {
    const int begin = bar.chords[i].onset_tatums;
    const int end =
        i + 1 < bar.chords.size() ? bar.chords[i + 1].onset_tatums : bar.length_tatums();
    const double room =
        chord_name_width(chord_name_parts(chord_text(bar.chords[i])), measure) + chord_gap_pt;
    double least = 0.0;
    double springs = 0.0;
    for (const EngravedColumn& column : columns) {
      if (column.onset_tatums < begin || column.onset_tatums >= end) continue;
      least += column.least_distance_pt;
      springs += column.spring;
    }
    if (least >= room) continue;
    for (EngravedColumn& column : columns) {
      if (column.onset_tatums < begin || column.onset_tatums >= end) continue;
      column.least_distance_pt = std::max(column.least_distance_pt, room * column.spring / springs);
    }
  }
}

}  // namespace

std::string with_print_signs(std::string_view name) {
  std::string text;
  for (std::size_t i = 0; i < name.size(); ++i) {
    if (name[i] == '#') {
      text += "\u266F";
    } else if (name[i] == 'b' && i > 0) {
      text += "\u266D";
    } else {
      text += name[i];
    }
  }
  return text;
}

ChordName chord_name_parts(const std::string& text) {
  std::string_view rest = text;
  std::string_view after = rest;
  if (!theory::take_pitch_name(after)) return {text, {}, {}};
  ChordName name;
  name.root = with_print_signs(rest.substr(0, rest.size() - after.size()));
  const auto slash = after.rfind('/');
  if (slash != std::string_view::npos) {
    std::string_view bass = after.substr(slash + 1);
    std::string_view behind = bass;
    if (theory::take_pitch_name(behind)) {
      name.bass =
          "/" + with_print_signs(bass.substr(0, bass.size() - behind.size())) + std::string(behind);
      after = after.substr(0, slash);
    }
  }
  name.kind = with_print_signs(after);
  // A b between letters is a letter ("sub"), a flat only before a figure ("m7b5").
  for (std::size_t i = 0; i < after.size(); ++i) {
    const bool is_flat =
        after[i] == 'b' && i + 1 < after.size() && after[i + 1] >= '0' && after[i + 1] <= '9';
    if (after[i] == 'b' && !is_flat) {
      name.kind = std::string(after);
      break;
    }
  }
  return name;
}

double chord_name_width(const ChordName& name, const TextMeasure& measure) {
  double width = measure(name.root, chord_style);
  if (!name.kind.empty()) width += measure(name.kind, chord_kind_style);
  if (!name.bass.empty()) width += measure(name.bass, chord_style);
  return width;
}

double add_chord_name(const ChordName& name, Point place, double grey, const TextMeasure& measure,
                      std::vector<Mark>& marks) {
  double x = place.x;
  const auto add = [&](const std::string& text, const TextStyle& style, double raise) {
    if (text.empty()) return;
    marks.emplace_back(TextMark{{x, place.y - raise}, text, style, Align::left, grey});
    x += measure(text, style);
  };
  add(name.root, chord_style, 0.0);
  add(name.kind, chord_kind_style, 2.2);
  add(name.bass, chord_style, 0.0);
  return x - place.x;
}

double EngravedBar::width_pt(double stretch) const {
  double width = lead_pt;
  for (const EngravedColumn& column : columns) {
    width += std::max(column.least_distance_pt, stretch * column.spring);
  }
  return width;
}

std::vector<double> EngravedBar::places_pt(double stretch) const {
  std::vector<double> places;
  places.reserve(columns.size());
  double x = lead_pt;
  for (const EngravedColumn& column : columns) {
    places.push_back(x);
    x += std::max(column.least_distance_pt, stretch * column.spring);
  }
  return places;
}

EngravedBar engrave_bar(const SheetBar& bar, std::size_t index, BarPitches pitches,
                        const TextMeasure& measure) {
  EngravedBar made;
  made.index = index;
  made.values = written_values(bar);
  made.stab_values = stab_values(bar);
  made.pitches = std::move(pitches);
  const auto line = onsets_of(made.values);
  const auto stabs = onsets_of(made.stab_values);
  std::set<int> onsets;
  for (const auto& [onset, value] : line) onsets.insert(onset);
  for (const auto& [onset, value] : stabs) onsets.insert(onset);
  for (const SheetChord& chord : bar.chords) onsets.insert(chord.onset_tatums);
  std::map<int, EngravedColumn> columns;
  for (const int onset : onsets) {
    const auto value_at = [onset](const std::map<int, std::size_t>& voice) {
      const auto found = voice.find(onset);
      return found == voice.end() ? std::nullopt : std::optional(found->second);
    };
    columns.emplace(onset, column_at(bar, made, onset, value_at(line), value_at(stabs), measure));
  }
  for (auto column = columns.begin(); column != columns.end(); ++column) {
    const auto next = std::next(column);
    const bool is_last = next == columns.end();
    const int end = is_last ? bar.length_tatums() : next->first;
    column->second.spring = spring_of(end - column->first);
    column->second.least_distance_pt =
        column->second.right_pt + (is_last ? bar_trail_pt : next->second.left_pt + least_gap_pt);
    made.columns.push_back(column->second);
  }
  if (!made.columns.empty()) made.lead_pt = bar_lead_pt + made.columns.front().left_pt;
  if (bar.begins_repeat) made.lead_pt += repeat_width_pt;
  if (bar.repeat_times > 0 && !made.columns.empty()) {
    made.columns.back().least_distance_pt += repeat_width_pt;
  }
  make_room_for_chords(bar, measure, made.columns);
  return made;
}

double stretch_for(std::span<const EngravedBar> bars, double width_pt) {
  const auto width_at = [bars](double stretch) {
    double width = 0.0;
    for (const EngravedBar& bar : bars) width += bar.width_pt(stretch);
    return width;
  };
  double low = 0.0;
  double high = width_pt;
  // Widths grow with the stretch; fifty halvings are exact to a hair's breadth.
  for (int i = 0; i < 50; ++i) {
    const double middle = 0.5 * (low + high);
    (width_at(middle) <= width_pt ? low : high) = middle;
  }
  return low;
}

std::vector<std::vector<std::size_t>> beam_groups(std::span<const WrittenValue> values) {
  std::vector<std::vector<std::size_t>> groups;
  std::vector<std::size_t> group;
  const auto close = [&] {
    if (group.size() > 1) groups.push_back(group);
    group.clear();
  };
  for (std::size_t i = 0; i < values.size(); ++i) {
    const bool is_beamed = values[i].note && beam_count(values[i].value) > 0;
    if (!is_beamed || (!group.empty() && values[group.back()].onset_tatums / tatums_per_beat !=
                                             values[i].onset_tatums / tatums_per_beat)) {
      close();
    }
    if (is_beamed) group.push_back(i);
  }
  close();
  return groups;
}

int beam_count(NoteValue value) noexcept {
  return value >= NoteValue::eighth
             ? static_cast<int>(value) - static_cast<int>(NoteValue::eighth) + 1
             : 0;
}

}  // namespace lowstride::sheet
