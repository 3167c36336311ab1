#pragma once

#include <cstddef>
#include <map>
#include <string>
#include <vector>

#include "src/sheet/layout.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/take/take.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::sheet {

/// What the systems of a sheet used and its legend has to explain.
struct UsedSigns {
  bool has_dead = false;
  bool has_tie = false;
  bool has_joint = false;
  bool has_triplet = false;
  bool has_swung_pair = false;
  bool has_doubt = false;
  bool has_repeat = false;            // of bars whose numbers are told: "1 (5)"
  std::vector<std::size_t> off_neck;  // note indices
  std::vector<theory::Role> roles;    // each once, in the order of Role
};

/// One sign a role, to stand under a note: R 3 5 6 7 for chord tones, s and c for passing notes.
[[nodiscard]] std::string role_sign(theory::Role role);

/// Writes systems of text tab: bar numbers, chord names, a row a string, counts, roles, doubts.
class SystemWriter {
 public:
  /// `take` and `layout` must outlive the writer. `roles`: one a note, or empty for no row of
  /// roles.
  SystemWriter(const take::Take& take, const SheetLayout& layout,
               std::vector<std::optional<theory::NoteRole>> roles);

  /// Columns of string name and bar line before the first bar.
  [[nodiscard]] int label_columns() const noexcept { return label_columns_; }
  /// The rows of one system, each ended by a newline.
  [[nodiscard]] std::string write(const TextSystem& system);
  [[nodiscard]] const UsedSigns& used() const noexcept { return used_; }

 private:
  struct Rows;
  void write_bar(const SheetBar& bar, const std::vector<int>& beat_columns,
                 const std::vector<int>& beat_widths, Rows& rows);
  void write_note(const SheetBar& bar, const SheetNote& note, int column, Rows& rows);
  void write_stab(const SheetBar& bar, const SheetStab& stab, int column, Rows& rows);
  void write_count(const SheetBar& bar, int onset_tatums, int column, Rows& rows);
  void write_repeats(const SheetBar& bar, int begin, int end, Rows& rows);
  void write_remark_sign(const SheetNote& note, int column, Rows& rows) const;
  [[nodiscard]] std::size_t string_row(const SheetNote& note) const;
  [[nodiscard]] std::string bar_heading(const SheetBar& bar, int room) const;

  const take::Take& take_;
  const SheetLayout& layout_;
  std::vector<std::optional<theory::NoteRole>> roles_;
  std::vector<std::string> names_;  // of the strings, highest first
  std::map<std::size_t, std::string> remark_signs_;
  int label_columns_ = 2;
  UsedSigns used_;
};

}  // namespace lowstride::sheet
