#include <algorithm>
#include <charconv>
#include <string>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/level_option.hpp"
#include "src/parts/levels.hpp"
#include "src/sheet/excerpt.hpp"
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

/// "3", "1,3,6" or "all": numbers of levels. Empty for the take itself.
Result<std::vector<int>> levels_from(const std::optional<std::string>& text) {
  std::vector<int> levels;
  if (!text) return levels;
  if (*text == "all") return std::vector<int>{1, 2, 3, 4, 5, 6};
  std::string_view rest = *text;
  while (true) {
    const auto comma = rest.find(',');
    const auto level = whole_number(rest.substr(0, comma));
    if (!level) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("--level '{}' names no levels; write 2, or 1,3,6, or all.", *text));
    }
    if (std::ranges::find(levels, *level) == levels.end()) levels.push_back(*level);
    if (comma == std::string_view::npos) return levels;
    rest.remove_prefix(comma + 1);
  }
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

/// A take or one of its levels, and what of it is asked for.
struct Part {
  take::Take take;
  std::optional<parts::Level> level;
  sheet::LayoutOptions layout;
};

Result<std::vector<Part>> parts_of(const ExportOptions& options, const take::Take& take) {
  const auto levels = levels_from(options.levels);
  if (!levels) return tl::unexpected(levels.error());
  std::vector<Part> parts;
  if (levels->empty()) parts.push_back({take, std::nullopt, {}});
  for (const int level : *levels) {
    auto part = at_level(take, level, options.take);
    if (!part) return tl::unexpected(part.error());
    parts.push_back({std::move(*part), parts::level_from_number(level), {}});
  }
  for (Part& part : parts) {
    auto layout = layout_options(options, part.take);
    if (!layout) return tl::unexpected(layout.error());
    part.layout = *layout;
  }
  return parts;
}

using Paths = std::vector<std::filesystem::path>;

Result<Paths> written(const Result<void>& done, const ExportOptions& options) {
  if (!done) return tl::unexpected(done.error());
  return Paths{options.output};
}

/// Sheets of text, one after another; on standard output without a file.
Result<Paths> write_text(const ExportOptions& options, const std::vector<Part>& parts) {
  sheet::TextTabOptions tab;
  tab.has_roles = options.has_roles;
  tab.width_columns = options.width > 0 ? options.width : 100;
  if (options.output.empty() && options.width == 0) {
    tab.width_columns = std::max(40, terminal_columns(100));
  }
  std::string text;
  for (const Part& part : parts) {
    tab.layout = part.layout;
    if (sheet::asks_for_part(part.layout)) {
      if (const auto cut = sheet::excerpt(part.take, part.layout); !cut) {
        return fail(cut.error().code,
                    fmt::format("'{}': {}", options.take.string(), cut.error().message));
      }
    }
    if (!text.empty()) text += "\n\n";
    text += sheet::render_text_tab(part.take, tab);
  }
  if (!options.output.empty()) return written(write_file_atomically(options.output, text), options);
  fmt::print("{}", text);
  return Paths{};
}

/// Pages: each level begins one, with its name under the title.
Result<Paths> write_pages(const ExportOptions& options, const take::Take& take,
                          const std::vector<Part>& parts) {
  sheet::PageOptions page;
  page.layout = parts.front().layout;
  page.paper = options.paper == "letter" ? sheet::PaperSize::letter : sheet::PaperSize::a4;
  page.staff = options.is_tab_only ? sheet::StaffKind::tab_only : sheet::StaffKind::staff_and_tab;
  std::vector<sheet::PageSection> sections;
  for (const Part& part : parts) {
    sheet::PageSection& section = sections.emplace_back();
    section.take = part.take;
    // A page needs a name: without a title it has the file's.
    section.take.title =
        take.title.empty() ? take::to_plain_text(options.take.stem().string()) : take.title;
    section.stretch = part.layout.stretch;
    if (part.level) {
      section.subtitle = fmt::format("Level {}: {}", static_cast<int>(*part.level),
                                     parts::level_name(*part.level));
    }
  }
  if (options.format == "pdf") {
    return written(sheet::export_pdf(sections, options.output, page), options);
  }
  return sheet::export_pictures(
      sections, options.output,
      options.format == "svg" ? sheet::PictureKind::svg : sheet::PictureKind::png, page);
}

Result<Paths> write_score(const ExportOptions& options, const Part& part) {
  if (options.format == "musicxml") {
    // A tempo map that follows a recording goes on while bars repeat: it is written out.
    sheet::LayoutOptions score = part.layout;
    score.has_repeats = score.has_repeats && !part.take.recording;
    return written(sheet::export_musicxml(part.take, options.output, score), options);
  }
  const auto cut = sheet::excerpt(part.take, part.layout);
  if (!cut) {
    return fail(cut.error().code,
                fmt::format("'{}': {}", options.take.string(), cut.error().message));
  }
  if (options.format == "midi") {
    const bool is_part = sheet::asks_for_part(part.layout);
    return written(
        sheet::export_midi(is_part ? sheet::begun_at_once(*cut) : *cut, options.output,
                           {.is_steady = options.is_steady, .is_quantised = options.is_quantised}),
        options);
  }
  if (const auto done = sheet::export_tables(*cut, options.output); !done) {
    return tl::unexpected(done.error());
  }
  return sheet::table_paths(*cut, options.output);
}

/// What was written, or nothing where the text went to standard output.
Result<Paths> write(const ExportOptions& options, const take::Take& take) {
  const auto parts = parts_of(options, take);
  if (!parts) return tl::unexpected(parts.error());
  if (options.format == "text") return write_text(options, *parts);
  if (options.output.empty()) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--format {} needs -o, the place to write to.", options.format));
  }
  const bool is_score =
      options.format == "musicxml" || options.format == "midi" || options.format == "tables";
  if (options.has_roles) {
    remark("--roles goes with --format text; tables have them anyway.");
  }
  if (!is_score) return write_pages(options, take, *parts);
  if (parts->size() > 1) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--format {} holds one level; name one, or write several as pdf or "
                            "text.",
                            options.format));
  }
  return write_score(options, parts->front());
}

}  // namespace

ExitCode run_export(const ExportOptions& options) {
  const auto loaded = take::load_take(options.take);
  if (!loaded) return tell(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  const auto paths = write(options, loaded->take);
  if (!paths) return tell(paths.error());
  for (const auto& path : *paths) fmt::print("saved: {}\n", printable(path.string()));
  return ExitCode::done;
}

}  // namespace lowstride::cli
