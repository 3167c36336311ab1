#include <algorithm>
#include <map>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

#include <fmt/format.h>

#include "src/cli/commands.hpp"
#include "src/cli/drill_terminal.hpp"
#include "src/cli/takes_in.hpp"
#include "src/drill/history.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

namespace fs = std::filesystem;

struct Row {
  std::string name;
  std::string length;
  std::string notes;
  std::string doubts;
  std::string confirmed;
  std::string due;
};

/// What is due, by take; nothing when this player was never drilled (listing makes no history).
Result<std::optional<std::map<std::string, int>>> due_by_take(const std::string& player) {
  const auto path = drill::history_path(player);
  if (!path) return tl::unexpected(path.error());
  std::error_code error;
  if (!fs::exists(*path, error)) return std::nullopt;
  auto history = drill::History::open(*path);
  if (!history) return tl::unexpected(history.error());
  for (const std::string& sentence : history->messages()) remark(sentence);
  const auto states = history->states();
  if (!states) return tl::unexpected(states.error());
  const drill::UnixSeconds now = present_moment().unix_seconds;
  std::map<std::string, int> due;
  for (const drill::ItemState& state : *states) due[state.take_key] += is_due(state, now) ? 1 : 0;
  return due;
}

std::string length_text(const take::Take& take) {
  const auto seconds =
      take.time_base_hz > 0 ? (take.length_samples + take.time_base_hz / 2) / take.time_base_hz : 0;
  return fmt::format("{}:{:02}", seconds / 60, seconds % 60);
}

Row row_of(const take::Take& take, std::string name,
           const std::optional<std::map<std::string, int>>& due) {
  const auto confirmed = std::ranges::count(take.notes, take::State::confirmed, &take::Note::state);
  const auto doubts =
      std::ranges::count_if(take.notes, [](const take::Note& note) { return is_doubt(note); }) +
      std::ranges::count_if(take.chords,
                            [](const take::ChordSpan& span) { return is_doubt(span); });
  Row row;
  row.name = std::move(name);
  row.length = length_text(take);
  row.notes = std::to_string(take.notes.size());
  row.doubts = std::to_string(doubts);
  // Rounded down, so that 100 % means all.
  row.confirmed =
      take.notes.empty()
          ? "-"
          : fmt::format("{} %", 100 * confirmed / static_cast<std::ptrdiff_t>(take.notes.size()));
  row.due = "-";
  if (due) {
    const auto found = due->find(drill::take_key_of(take));
    if (found != due->end()) row.due = std::to_string(found->second);
  }
  return row;
}

void print_rows(const std::vector<Row>& rows) {
  int widest = 4;
  for (const Row& row : rows) widest = std::max(widest, sheet::column_count(row.name));
  const auto line = [widest](const Row& row) {
    const auto room = static_cast<std::size_t>(widest - sheet::column_count(row.name));
    fmt::print("{}{}  {:>7}  {:>6}  {:>6}  {:>9}  {:>4}\n", row.name, std::string(room, ' '),
               row.length, row.notes, row.doubts, row.confirmed, row.due);
  };
  line({"take", "length", "notes", "doubts", "confirmed", "due"});
  for (const Row& row : rows) line(row);
}

}  // namespace

ExitCode run_list(const ListOptions& options) {
  const auto paths = takes_in(options.folder);
  if (!paths) return tell(paths.error());
  if (paths->empty()) {
    fmt::print("No takes in '{}'; lowstride lift makes one from a recording.\n",
               printable(options.folder.string()));
    return ExitCode::done;
  }
  std::vector<Row> rows;
  rows.reserve(paths->size());
  bool is_whole = true;
  std::optional<std::map<std::string, int>> due;
  if (auto found = due_by_take(options.player)) {
    due = std::move(*found);
  } else {
    // The takes are there whatever has become of the history.
    remark(found.error().message);
    is_whole = false;
  }
  {
    ProgressLine progress;
    const WorkControl control = progress.control();
    for (const fs::path& path : *paths) {
      if (interrupt_flag()) return ExitCode::interrupted;
      control.report("reading takes",
                     static_cast<double>(rows.size()) / static_cast<double>(paths->size()));
      const auto loaded = take::load_take(path);
      if (!loaded) {
        remark(loaded.error().message);
        is_whole = false;
        continue;
      }
      rows.push_back(
          row_of(loaded->take, printable(path.lexically_relative(options.folder).string()), due));
    }
  }
  if (!rows.empty()) print_rows(rows);
  return is_whole ? ExitCode::done : ExitCode::failed;
}

}  // namespace lowstride::cli
