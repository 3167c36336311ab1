#include "src/sheet/text_system.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/remarks.hpp"

namespace lowstride::sheet {
namespace {

/// A row of text that is written to by column. One code point takes one column.
class Row {
 public:
  /// Writes from a column on, growing the row with blanks.
  void put(int column, std::string_view text) {
    const std::u32string points = code_points(text);
    const auto begin = static_cast<std::size_t>(std::max(0, column));
    if (points_.size() < begin + points.size()) points_.resize(begin + points.size(), U' ');
    points_.replace(begin, points.size(), points);
  }
  void fill_to(int column, char32_t point) {
    points_.resize(static_cast<std::size_t>(column), point);
  }
  [[nodiscard]] bool is_blank() const noexcept {
    return points_.find_first_not_of(U' ') == std::u32string::npos;
  }
  /// Nothing stands from a column on, for so many columns and one on each side.
  [[nodiscard]] bool is_free(int column, int count) const noexcept {
    const auto begin = static_cast<std::size_t>(std::max(0, column - 1));
    const auto end = std::min(points_.size(), static_cast<std::size_t>(column + count + 1));
    for (std::size_t i = begin; i < end; ++i) {
      if (points_[i] != U' ') return false;
    }
    return true;
  }
  /// The row without trailing blanks, ended by a newline.
  [[nodiscard]] std::string line() const {
    return utf8(points_.substr(0, points_.find_last_not_of(U' ') + 1)) + "\n";
  }

 private:
  std::u32string points_;
};

/// The spoken count of a place in a beat.
std::string count_text(int beat_number, int tatum, Division division) {
  if (tatum == 0) return fmt::format("{}", beat_number);
  const bool is_triplet = division == Division::thirds;
  switch (tatum) {
    case 3:
      return "e";
    case 4:
      return is_triplet ? "t" : ".";
    case 6:
      return "&";
    case 8:
      return is_triplet ? "l" : ".";
    case 9:
      return "a";
    default:
      return ".";
  }
}

/// h, p or s before a note that is hammered on, pulled off or slid to.
char joint_sign(Joint joint) {
  if (joint == Joint::slide) return 's';
  return joint == Joint::pull_off ? 'p' : 'h';
}

}  // namespace

struct SystemWriter::Rows {
  Row numbers;
  Row chords;
  std::vector<Row> strings;
  Row counts;
  Row roles;
  Row doubts;
  std::vector<Row> remarks;  // one, and more where signs would run into each other
};

std::string role_sign(theory::Role role) {
  constexpr std::array<std::string_view, 14> signs{"R", "3",  "5", "6", "7", "s", "c",
                                                   "/", "\\", "o", "8", "=", "p", "x"};
  return std::string(signs[static_cast<std::size_t>(role)]);
}

SystemWriter::SystemWriter(const take::Take& take, const SheetLayout& layout,
                           std::vector<std::optional<theory::NoteRole>> roles)
    : take_(take),
      layout_(layout),
      roles_(std::move(roles)),
      names_(neck::string_names(take.neck)),
      remark_signs_(remark_signs(remarks_in(take, layout))) {
  for (const std::string& name : names_) {
    label_columns_ = std::max(label_columns_, static_cast<int>(name.size()) + 1);
  }
}

std::string SystemWriter::write(const TextSystem& system) {
  Rows rows;
  rows.strings.resize(names_.size());
  for (std::size_t i = 0; i < names_.size(); ++i) rows.strings[i].put(0, names_[i]);
  for (Row& row : rows.strings) row.fill_to(label_columns_ - 1, U' ');

  int bar_line = label_columns_ - 1;
  for (std::size_t i = 0; i < system.bar_count; ++i) {
    const SheetBar& bar = layout_.bars[system.first_bar + i];
    const std::vector<int>& widths = system.beat_columns[i];
    std::vector<int> columns;
    int end = bar_line + 2;
    for (const int width : widths) {
      columns.push_back(end);
      end += width;
    }
    for (Row& row : rows.strings) {
      row.put(bar_line, "|");
      row.fill_to(end, U'-');
    }
    rows.numbers.put(bar_line, bar_heading(bar, end - bar_line - 1));
    write_bar(bar, columns, widths, rows);
    write_repeats(bar, bar_line, end, rows);
    bar_line = end;
  }
  for (Row& row : rows.strings) row.put(bar_line, "|");

  std::string text = rows.numbers.line();
  if (!rows.chords.is_blank()) text += rows.chords.line();
  for (const Row& row : rows.strings) text += row.line();
  text += rows.counts.line();
  if (!rows.roles.is_blank()) text += rows.roles.line();
  if (!rows.doubts.is_blank()) text += rows.doubts.line();
  for (const Row& row : rows.remarks) text += row.line();
  return text;
}

/// Two dots inside the bar lines of a repeat; how often it is played stands over its end.
void SystemWriter::write_repeats(const SheetBar& bar, int begin, int end, Rows& rows) {
  const std::size_t middle = rows.strings.size() / 2;
  for (std::size_t i = middle > 0 ? middle - 1 : 0; i <= middle && i < rows.strings.size(); ++i) {
    if (bar.begins_repeat) rows.strings[i].put(begin + 1, "o");
    if (bar.repeat_times > 0) rows.strings[i].put(end - 1, "o");
  }
  used_.has_repeat = used_.has_repeat || bar.repeat_times > 0;
  if (bar.repeat_times > 2) {
    const std::string times = fmt::format("{} times", bar.repeat_times);
    rows.numbers.put(end - column_count(times), times);
  }
}

void SystemWriter::write_bar(const SheetBar& bar, const std::vector<int>& beat_columns,
                             const std::vector<int>& beat_widths, Rows& rows) {
  const auto column = [&](int tatums) {
    const auto beat = static_cast<std::size_t>(tatums / tatums_per_beat);
    return beat_columns[beat] + column_of(tatums % tatums_per_beat, beat_widths[beat]);
  };
  for (const SheetChord& chord : bar.chords) {
    rows.chords.put(column(chord.onset_tatums), chord_text(chord));
    used_.has_doubt = used_.has_doubt || chord.is_doubt;
  }
  for (int beat = 0; beat < bar.beat_count; ++beat) {
    rows.counts.put(column(beat * tatums_per_beat), fmt::format("{}", bar.first_beat + beat));
  }
  for (const SheetStab& stab : bar.stabs) write_stab(bar, stab, column(stab.onset_tatums), rows);
  for (const SheetNote& note : bar.notes) write_note(bar, note, column(note.onset_tatums), rows);
}

void SystemWriter::write_note(const SheetBar& bar, const SheetNote& note, int column, Rows& rows) {
  rows.strings[string_row(note)].put(column, note_text(note));
  if (note.is_tied_from_previous) {
    used_.has_tie = used_.has_tie || !note.is_dead;
    return;
  }
  if (note.joint != Joint::none) {
    rows.strings[string_row(note)].put(column - 1, std::string(1, joint_sign(note.joint)));
    used_.has_joint = true;
  }
  write_count(bar, note.onset_tatums, column, rows);
  write_remark_sign(note, column, rows);
  used_.has_dead = used_.has_dead || note.is_dead;
  if (!note.position && !note.is_dead) used_.off_neck.push_back(note.note_index);
  if (note.is_doubt) {
    rows.doubts.put(column, "?");
    used_.has_doubt = true;
  }
  if (note.note_index < roles_.size() && roles_[note.note_index]) {
    const theory::Role role = roles_[note.note_index]->role;
    rows.roles.put(column, role_sign(role));
    const auto place = std::ranges::lower_bound(used_.roles, role);
    if (place == used_.roles.end() || *place != role) used_.roles.insert(place, role);
  }
}

void SystemWriter::write_remark_sign(const SheetNote& note, int column, Rows& rows) const {
  const auto sign = remark_signs_.find(note.note_index);
  if (sign == remark_signs_.end()) return;
  const int width = column_count(sign->second);
  auto row = std::ranges::find_if(rows.remarks,
                                  [&](const Row& one) { return one.is_free(column, width); });
  if (row == rows.remarks.end()) row = rows.remarks.emplace(row);
  row->put(column, sign->second);
}

void SystemWriter::write_stab(const SheetBar& bar, const SheetStab& stab, int column, Rows& rows) {
  for (const neck::Position& place : stab.positions) {
    const auto row = static_cast<std::size_t>(std::max(1, place.string_number)) - 1;
    rows.strings[std::min(row, names_.size() - 1)].put(column, stab_text(stab, place));
  }
  if (stab.is_tied_from_previous) {
    used_.has_tie = true;
    return;
  }
  write_count(bar, stab.onset_tatums, column, rows);
}

void SystemWriter::write_count(const SheetBar& bar, int onset_tatums, int column, Rows& rows) {
  const int beat = onset_tatums / tatums_per_beat;
  const int tatum = onset_tatums % tatums_per_beat;
  const Division division = bar.divisions[static_cast<std::size_t>(beat)];
  rows.counts.put(column, count_text(bar.first_beat + beat, tatum, division));
  if (tatum == 0) return;
  used_.has_triplet = used_.has_triplet || division == Division::thirds;
  used_.has_swung_pair =
      used_.has_swung_pair || (division == Division::halves && layout_.swing_ratio.has_value());
}

/// Row of a note, from the highest string. One that the neck does not have stands on the string
/// that it would lie beyond.
std::size_t SystemWriter::string_row(const SheetNote& note) const {
  const std::size_t last = names_.size() - 1;
  if (note.position) {
    return std::min(last, static_cast<std::size_t>(std::max(1, note.position->string_number)) - 1);
  }
  return note.midi < neck::lowest_midi(take_.neck) || note.is_dead ? last : 0;
}

/// The bar's number, with the passages that begin in it where there is room.
std::string SystemWriter::bar_heading(const SheetBar& bar, int room) const {
  std::string text = bar.number >= 1 ? fmt::format("{}", bar.number) : std::string();
  if (!bar.repeated_numbers.empty()) {
    const std::string with_others =
        fmt::format("{} ({})", text, fmt::join(bar.repeated_numbers, ", "));
    if (column_count(with_others) < room) text = with_others;
  }
  if (bar.ending > 0) text = fmt::format("{} [{}.", text, bar.ending);
  for (const take::Passage& passage : take_.passages) {
    if (!begins_in(passage, bar)) continue;
    const std::string with_name = fmt::format("{} [{}]", text, passage.name);
    if (column_count(with_name) < room) text = with_name;
  }
  return text;
}

}  // namespace lowstride::sheet
