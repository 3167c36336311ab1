#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/analysis/fingering_edit.hpp"
#include "src/cli/commands.hpp"
#include "src/sheet/summary.hpp"
#include "src/take/commands.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

/// The edits of one call as one step, and a new fingering where the line changed.
Result<take::EditGroup> whole_edit(const take::Take& take, const EditOptions& options) {
  std::vector<take::EditOption> typed;
  for (const auto& [name, value] : options.operations) typed.push_back({name, value});
  auto group = take::edit_from_options(take, typed);
  if (!group) return group;
  take::Take after = take;
  if (const auto tried = take::apply(after, *group); !tried) return tl::unexpected(tried.error());
  const auto sounds_alike = [](const take::Note& a, const take::Note& b) {
    return a.id == b.id && a.midi == b.midi && a.onset_samples == b.onset_samples &&
           a.is_dead == b.is_dead;
  };
  if (after.notes.size() != take.notes.size() ||
      !std::equal(after.notes.begin(), after.notes.end(), take.notes.begin(), sounds_alike)) {
    const int shift = take.octave_shift;
    auto fingering =
        analysis::fingering_edit(after, shift == 0 ? std::nullopt : std::optional<int>(shift));
    if (!fingering) return tl::unexpected(fingering.error());
    group->edits.push_back(std::move(*fingering));
  }
  return group;
}

}  // namespace

ExitCode run_edit(const EditOptions& options) {
  if (options.operations.empty()) {
    remark("edit: say what to change, as --confirm all; see lowstride edit --help.");
    return ExitCode::wrong_usage;
  }
  auto file = take::TakeFile::open(options.take);
  if (!file) return tell(file.error());
  for (const std::string& sentence : file->messages()) remark(sentence);
  const auto edit = whole_edit(file->take(), options);
  if (!edit) return tell(edit.error());
  if (const auto done = file->apply(*edit); !done) return tell(done.error());
  if (const auto saved = file->save(); !saved) return tell(saved.error());
  fmt::print("{}saved: {}\n", sheet::render_summary(file->take()),
             printable(options.take.string()));
  return ExitCode::done;
}

}  // namespace lowstride::cli
