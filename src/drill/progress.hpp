#pragma once

#include <array>
#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/drill/history.hpp"

namespace lowstride::drill {

/// How often something was asked and right, in the earlier half of its answers and lately.
struct Tally {
  std::string name;
  int early_count = 0;
  int early_right = 0;
  int late_count = 0;
  int late_right = 0;
  int octave_count = 0;  // of wrong ones: right name, wrong octave

  [[nodiscard]] int count() const noexcept { return early_count + late_count; }
  [[nodiscard]] double share_right() const noexcept {
    return count() == 0 ? 0.0 : static_cast<double>(early_right + late_right) / count();
  }
  bool operator==(const Tally&) const = default;
};

/// What was answered (columns) for what was right (rows), for names that came up.
struct Confusion {
  std::vector<std::string> names;
  std::vector<std::vector<int>> counts;  // [right][answered]
};

/// An item that keeps failing: missed in three or more of its last five answers.
struct Trouble {
  std::string item_key;
  Kind kind = Kind::find_the_note;
  int missed_count = 0;  // of the last five
  std::string cause;     // what its wrong notes have in common, or empty
};

struct Progress {
  int answer_count = 0;
  int right_count = 0;
  std::vector<Tally> by_kind;
  std::vector<Tally> by_role;
  std::vector<Tally> by_interval;  // from the note before
  std::vector<Tally> by_register;
  std::vector<Tally> by_tempo;  // as heard: tempo times speed
  Confusion roles;
  Confusion notes;  // of single notes, by name
  std::vector<Trouble> troubles;
};

/// Counts a history. Every note of a line counts in the tallies by role, interval and register; an
/// answer counts once by kind and tempo. Tallies are in their natural order.
[[nodiscard]] Progress progress_of(std::span<const AnswerRecord> answers);

/// What wrong notes have in common, when three quarters of three or more share it: "always the
/// octave", "always after the same interval, a fourth down", "always the same role, seventh",
/// "always in one register, below A1".
[[nodiscard]] std::string common_cause(std::span<const NoteRecord> wrong);

/// A few lines for a terminal: right answers by kind, the weakest roles, items that keep failing.
[[nodiscard]] std::string progress_text(const Progress& progress);

/// Draws the plots: right answers by role, interval, register and tempo, earlier and lately, and
/// the confusions of roles and notes. `path` ends in .svg or .png. Whole or not at all. Errors:
/// invalid_argument (another ending), cannot_write.
[[nodiscard]] Result<void> draw_progress(const Progress& progress, std::string_view player,
                                         const std::filesystem::path& path);

}  // namespace lowstride::drill
