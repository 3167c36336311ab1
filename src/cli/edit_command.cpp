#include <algorithm>
#include <iterator>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/analysis/follow_up.hpp"
#include "src/analysis/rereading.hpp"
#include "src/cli/commands.hpp"
#include "src/sheet/summary.hpp"
#include "src/take/commands.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

/// The edits of one call as one step: what was typed, then the unconfirmed surroundings read again
/// in its light (where the evidence of the lift is still kept), then a new fingering where the line
/// changed.
Result<take::EditGroup> whole_edit(const take::Take& take, const EditOptions& options) {
  std::vector<take::EditOption> typed;
  for (const auto& [name, value] : options.operations) typed.push_back({name, value});
  auto group = take::edit_from_options(take, typed);
  if (!group) return group;
  take::Take after = take;
  if (const auto tried = take::apply(after, *group); !tried) return tl::unexpected(tried.error());
  const auto evidence = analysis::kept_evidence(take);
  auto follow_up = analysis::follow_up(take, after, evidence ? &*evidence : nullptr);
  if (!follow_up) return tl::unexpected(follow_up.error());
  std::ranges::move(follow_up->edits, std::back_inserter(group->edits));
  return group;
}

ExitCode list_versions(const std::filesystem::path& path) {
  const auto loaded = take::load_take(path);
  if (!loaded) return tell(loaded.error());
  const auto versions = take::kept_versions(path);
  if (versions.empty()) fmt::print("No version was kept yet.\n");
  for (std::size_t i = 0; i < versions.size(); ++i) {
    const auto version = take::load_take(versions[i].path);
    fmt::print("{:>3}  {}  {}\n", i + 1, take::saved_text(versions[i]),
               version ? fmt::format("{} notes, {} chords", version->take.notes.size(),
                                     version->take.chords.size())
                       : "damaged");
  }
  return ExitCode::done;
}

ExitCode go_back(const std::filesystem::path& path, int number) {
  const auto versions = take::kept_versions(path);
  if (static_cast<std::size_t>(number) > versions.size()) {
    return tell({ErrorCode::not_found,
                 fmt::format("'{}' has no version {}; see those there are with --versions.",
                             path.string(), number)});
  }
  const auto& version = versions[static_cast<std::size_t>(number - 1)];
  if (const auto done = take::swap_with_version(path, version.path); !done) {
    return tell(done.error());
  }
  fmt::print("{} is as it was saved on {}; what it was until now is a version of it.\n",
             printable(path.string()), take::saved_text(version));
  return ExitCode::done;
}

}  // namespace

ExitCode run_edit(const EditOptions& options) {
  if (options.operations.empty() && options.lists_versions) return list_versions(options.take);
  if (options.operations.empty() && options.back_to) {
    return go_back(options.take, *options.back_to);
  }
  if (options.operations.empty()) {
    remark("edit: say what to change, as --confirm all; see lowstride edit --help.");
    return ExitCode::wrong_usage;
  }
  if (options.lists_versions || options.back_to) {
    remark("edit: --versions and --back-to go without changes; make these in a call of their own.");
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
