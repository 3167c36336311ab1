#include <algorithm>
#include <cstdlib>
#include <string>
#include <system_error>

#include <fmt/format.h>

#include "src/cli/commands.hpp"
#include "src/notation/read.hpp"
#include "src/sheet/comparison.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

struct Other {
  take::Take take;
  bool is_on_clock = false;  // of a recording
};

/// A take, or what notation reads; positions on the neck are taken as those of `mine`.
Result<Other> other_take(const std::filesystem::path& path, const take::Take& mine) {
  if (path.extension() == ".take") {
    auto loaded = take::load_take(path);
    if (!loaded) return tl::unexpected(loaded.error());
    for (const std::string& sentence : loaded->messages) remark(sentence);
    const bool is_on_clock = loaded->take.recording.has_value() == mine.recording.has_value();
    return Other{std::move(loaded->take), is_on_clock};
  }
  notation::ReadOptions options;
  options.neck = mine.neck;
  auto read = notation::read_line(path, options);
  if (!read) return tl::unexpected(read.error());
  for (const std::string& sentence : read->remarks) remark(sentence);
  const std::string name = path.string();
  const bool is_written = name.ends_with(".mid") || name.ends_with(".midi") ||
                          name.ends_with(".musicxml") || name.ends_with(".xml");
  return Other{std::move(read->take), !is_written};
}

/// What a column is called: the file's name, with its folder where both have the same.
sheet::ComparedNames names_of(const CompareOptions& options) {
  std::string mine = options.take.filename().string();
  std::string other = options.other.filename().string();
  if (mine == other || other.empty()) {
    mine = options.take.string();
    other = options.other.string();
  }
  return {printable(mine), printable(other)};
}

}  // namespace

ExitCode run_compare(const CompareOptions& options) {
  const auto mine = take::load_take(options.take);
  if (!mine) return tell(mine.error());
  for (const std::string& sentence : mine->messages) remark(sentence);
  auto other = other_take(options.other, mine->take);
  if (!other) return tell(other.error());
  const bool is_by_bars = options.by ? *options.by == "bars" : !other->is_on_clock;
  if (is_by_bars) {
    auto placed = sheet::on_bars_of(other->take, mine->take);
    if (placed) {
      other->take = std::move(placed->take);
      if (placed->bar_shift != 0) {
        const std::string bars = std::abs(placed->bar_shift) == 1
                                     ? "a bar"
                                     : fmt::format("{} bars", std::abs(placed->bar_shift));
        remark(
            fmt::format("'{}' counts its bars otherwise: what it calls bar 5 is bar {} here ({} "
                        "{}).",
                        printable(options.other.string()), 5 + placed->bar_shift, bars,
                        placed->bar_shift < 0 ? "earlier" : "later"));
      }
    } else {
      remark("One of the two has no bars to go by; they are compared by their clocks.");
    }
  } else if (mine->take.recording && other->take.recording &&
             mine->take.recording->content_hash != other->take.recording->content_hash) {
    remark("The two takes are of different recordings; they are compared by their clocks.");
  }
  const sheet::Comparison comparison = sheet::compare(mine->take, other->take);
  fmt::print("{}", sheet::render_comparison(comparison, mine->take, other->take, names_of(options),
                                            !options.has_scores_only));
  return ExitCode::done;
}

}  // namespace lowstride::cli
