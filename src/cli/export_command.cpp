#include <algorithm>
#include <string>

#include <fmt/format.h>

#include "src/cli/commands.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

Result<sheet::TextTabOptions> tab_options(const ExportOptions& options, const take::Take& take) {
  sheet::TextTabOptions tab;
  tab.width_columns = options.width > 0 ? options.width : 100;
  if (options.passage) {
    const auto passage =
        std::find_if(take.passages.begin(), take.passages.end(),
                     [&](const take::Passage& one) { return one.name == *options.passage; });
    if (passage == take.passages.end()) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              options.take.string(), *options.passage));
    }
    tab.layout.stretch = take::Stretch{passage->begin_samples, passage->end_samples};
  }
  return tab;
}

Result<void> write(const ExportOptions& options, const take::Take& take) {
  if (options.format == "text") {
    auto tab = tab_options(options, take);
    if (!tab) return tl::unexpected(tab.error());
    if (!options.output.empty()) return sheet::export_text(take, options.output, *tab);
    if (options.width == 0) tab->width_columns = std::max(40, terminal_columns(100));
    fmt::print("{}", sheet::render_text_tab(take, *tab));
    return {};
  }
  if (options.output.empty()) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--format {} needs -o, the place to write to.", options.format));
  }
  if (options.format == "musicxml") {
    const auto tab = tab_options(options, take);
    if (!tab) return tl::unexpected(tab.error());
    return sheet::export_musicxml(take, options.output, tab->layout);
  }
  if (options.format == "midi") return sheet::export_midi(take, options.output);
  if (options.format == "musicxml") return sheet::export_musicxml(take, options.output);
  return sheet::export_tables(take, options.output);
}

}  // namespace

ExitCode run_export(const ExportOptions& options) {
  const auto loaded = take::load_take(options.take);
  if (!loaded) return tell(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  if (const auto written = write(options, loaded->take); !written) return tell(written.error());
  if (options.format == "tables") {
    for (const auto& path : sheet::table_paths(loaded->take, options.output)) {
      fmt::print("saved: {}\n", printable(path.string()));
    }
  } else if (!options.output.empty()) {
    fmt::print("saved: {}\n", printable(options.output.string()));
  }
  return ExitCode::done;
}

}  // namespace lowstride::cli
