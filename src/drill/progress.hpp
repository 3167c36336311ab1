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
  std::string place;    // "bar 5, beat 3"; empty in old histories
  int wrong_count = 0;  // of the last five, another octave among them
};

/// Items that keep failing for one reason.
struct TroubleGroup {
  std::string cause;  // "always the octave", "always after a fourth down", …; empty: none in common
  std::vector<Trouble> items;
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
  Confusion notes;   // of single notes, by name
  Confusion chords;  // by quality
  std::vector<TroubleGroup> troubles;
};

/// Counts a history. Every note of a line counts in the tallies by role, interval and register; an
/// answer counts once by kind and tempo. What was heard is what was heard at first: marks of a
/// wrong try are a hint to the next. Tallies are in their natural order.
[[nodiscard]] Progress progress_of(std::span<const AnswerRecord> answers);

/// Items that keep failing, grouped by what they have in common: the octave, the interval from the
/// note before, the register, the role, the key; never by bar, since that is where they are and not
/// why. An item has a trait when three quarters of its wrong notes do. A trait is a cause when two
/// failing items or more have it and fail half as often again as all items do; the one with the
/// most items comes first and takes them. What is left over is one group without a cause, at the
/// end.
[[nodiscard]] std::vector<TroubleGroup> troubles_of(std::span<const AnswerRecord> answers);

/// A few lines for a terminal: right answers by kind, items that keep failing by cause.
[[nodiscard]] std::string progress_text(const Progress& progress);

/// The picture that `draw_progress` writes as .png, as the bytes of that file.
[[nodiscard]] std::string progress_png(const Progress& progress, std::string_view player);

/// Draws the plots: right answers by role, interval, register and tempo, earlier and lately, and
/// the confusions of roles and notes. `path` ends in .svg or .png. Whole or not at all. Errors:
/// invalid_argument (another ending), cannot_write.
[[nodiscard]] Result<void> draw_progress(const Progress& progress, std::string_view player,
                                         const std::filesystem::path& path);

}  // namespace lowstride::drill
