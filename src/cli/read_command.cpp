#include <algorithm>
#include <string>

#include <fmt/format.h>

#include "src/analysis/fingering_edit.hpp"
#include "src/analysis/lift.hpp"
#include "src/cli/commands.hpp"
#include "src/notation/read.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

/// Where the take goes: beside the file, with its name less the endings that tables have.
std::filesystem::path take_path(const ReadOptions& options) {
  if (!options.output.empty()) return options.output;
  std::filesystem::path path = options.file;
  if (!path.has_filename()) path = path.parent_path();
  for (const char* ending : {".notes.tsv", ".chords.lab", ".beats.tsv", ".tuning.txt"}) {
    const std::string text = path.string();
    if (text.ends_with(ending))
      return text.substr(0, text.size() - std::string(ending).size()) + ".take";
  }
  return take::take_path_for(path);
}

Result<notation::ReadTake> read(const ReadOptions& options) {
  notation::ReadOptions how;
  how.part = options.part;
  const analysis::NeckChoice choice{options.instrument, options.tuning, options.capo};
  if (choice.is_made()) {
    const auto neck = analysis::chosen_neck(choice, take::Voice::bass);
    if (!neck) return tl::unexpected(neck.error());
    how.neck = *neck;
  }
  auto read = notation::read_line(options.file, how);
  if (!read) return read;
  const bool is_fingered = std::ranges::all_of(
      read->take.notes, [](const take::Note& note) { return note.position.has_value(); });
  if (!is_fingered) {
    // Where the file gave places, they hold the line where it is.
    const bool has_places = std::ranges::any_of(
        read->take.notes, [](const take::Note& note) { return note.is_position_pinned; });
    const auto shift = has_places ? std::optional(read->take.octave_shift) : std::nullopt;
    const auto edit = analysis::fingering_edit(read->take, shift);
    if (!edit) return tl::unexpected(edit.error());
    if (const auto done = take::apply(read->take, *edit); !done)
      return tl::unexpected(done.error());
  }
  return read;
}

}  // namespace

ExitCode run_read(const ReadOptions& options) {
  const auto read_take = read(options);
  if (!read_take) return tell(read_take.error());
  const auto path = take_path(options);
  auto file = take::TakeFile::create(path, read_take->take);
  if (!file) return tell(file.error());
  for (const std::string& sentence : read_take->remarks) remark(printable(sentence));
  sheet::TextTabOptions tab;
  tab.width_columns = options.width > 0 ? options.width : std::max(40, terminal_columns(100));
  fmt::print("{}\n{}Saved     {}\n", sheet::render_text_tab(file->take(), tab),
             sheet::render_summary(file->take()), printable(path.string()));
  return ExitCode::done;
}

}  // namespace lowstride::cli
