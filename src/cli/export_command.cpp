#include <algorithm>
#include <charconv>
#include <string>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "src/cli/commands.hpp"
#include "src/cli/level_option.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"
#include "src/take/validate.hpp"

namespace lowstride::cli {
namespace {

std::optional<int> whole_number(std::string_view text) {
  int value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// "5-12" or "5".
Result<std::pair<int, int>> bars_from(std::string_view text) {
  const auto dash = text.find('-', 1);
  const auto first = whole_number(text.substr(0, dash));
  const auto last = dash == std::string_view::npos ? first : whole_number(text.substr(dash + 1));
  if (!first || !last || *first > *last) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--bars '{}' is no stretch of bars; write it as 5-12.", text));
  }
  return std::pair{*first, *last};
}

Result<sheet::LayoutOptions> layout_options(const ExportOptions& options, const take::Take& take) {
  sheet::LayoutOptions layout;
  layout.has_repeats = !options.is_written_out;
  if (options.bars) {
    const auto bars = bars_from(*options.bars);
    if (!bars) return tl::unexpected(bars.error());
    layout.first_bar = bars->first;
    layout.last_bar = bars->second;
  }
  if (options.passage) {
    const auto passage =
        std::find_if(take.passages.begin(), take.passages.end(),
                     [&](const take::Passage& one) { return one.name == *options.passage; });
    if (passage == take.passages.end()) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              options.take.string(), *options.passage));
    }
    layout.stretch = take::Stretch{passage->begin_samples, passage->end_samples};
  }
  return layout;
}

using Paths = std::vector<std::filesystem::path>;

/// What was written, or nothing where the text went to standard output.
Result<Paths> write(const ExportOptions& options, const take::Take& take) {
  const auto layout = layout_options(options, take);
  if (!layout) return tl::unexpected(layout.error());
  const auto written = [&options](const Result<void>& done) -> Result<Paths> {
    if (!done) return tl::unexpected(done.error());
    return Paths{options.output};
  };
  if (options.format == "text") {
    sheet::TextTabOptions tab;
    tab.layout = *layout;
    tab.has_roles = options.has_roles;
    tab.width_columns = options.width > 0 ? options.width : 100;
    if (!options.output.empty()) return written(sheet::export_text(take, options.output, tab));
    if (options.width == 0) tab.width_columns = std::max(40, terminal_columns(100));
    fmt::print("{}", sheet::render_text_tab(take, tab));
    return Paths{};
  }
  if (options.output.empty()) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--format {} needs -o, the place to write to.", options.format));
  }
  if (options.format == "musicxml") {
    // A tempo map that follows a recording goes on while bars repeat: it is written out.
    sheet::LayoutOptions score = *layout;
    score.has_repeats = score.has_repeats && !take.recording;
    return written(sheet::export_musicxml(take, options.output, score));
  }
  if (options.format == "midi") {
    return written(
        sheet::export_midi(take, options.output,
                           {.is_steady = options.is_steady, .is_quantised = options.is_quantised}));
  }
  if (options.format == "tables") {
    if (const auto done = sheet::export_tables(take, options.output); !done) {
      return tl::unexpected(done.error());
    }
    return sheet::table_paths(take, options.output);
  }
  sheet::PageOptions page;
  page.layout = *layout;
  page.paper = options.paper == "letter" ? sheet::PaperSize::letter : sheet::PaperSize::a4;
  page.staff = options.is_tab_only ? sheet::StaffKind::tab_only : sheet::StaffKind::staff_and_tab;
  std::vector<sheet::PageSection> sections{{take, {}}};
  // A page needs a name: without a title it has the file's.
  if (take.title.empty()) {
    sections.front().take.title = take::to_plain_text(options.take.stem().string());
  }
  if (options.format == "pdf") {
    return written(sheet::export_pdf(sections, options.output, page));
  }
  return sheet::export_pictures(
      sections, options.output,
      options.format == "svg" ? sheet::PictureKind::svg : sheet::PictureKind::png, page);
}

}  // namespace

ExitCode run_export(const ExportOptions& options) {
  const auto loaded = take::load_take(options.take);
  if (!loaded) return tell(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  const auto take = at_level(loaded->take, options.level, options.take);
  if (!take) return tell(take.error());
  const auto paths = write(options, *take);
  if (!paths) return tell(paths.error());
  for (const auto& path : *paths) fmt::print("saved: {}\n", printable(path.string()));
  return ExitCode::done;
}

}  // namespace lowstride::cli
