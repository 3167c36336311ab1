#include <algorithm>
#include <string>

#include <fmt/format.h>

#include "src/analysis/lift.hpp"
#include "src/cli/commands.hpp"
#include "src/parts/arrange.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"
#include "src/take/validate.hpp"

namespace lowstride::cli {
namespace {

Result<parts::ArrangeOptions> options_from(const ArrangeOptions& typed) {
  parts::ArrangeOptions options;
  const auto style = parts::style_from(typed.style);
  if (!style) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format("--style '{}': say strum, root-fifth, boogie, walking or motif.", typed.style));
  }
  options.style = *style;
  options.tempo_bpm = typed.tempo_bpm;
  const analysis::NeckChoice choice{typed.instrument, typed.tuning, typed.capo};
  if (choice.is_made()) {
    const auto neck = analysis::chosen_neck(choice, take::Voice::guitar);
    if (!neck) return tl::unexpected(neck.error());
    options.neck = *neck;
  }
  return options;
}

}  // namespace

ExitCode run_arrange(const ArrangeOptions& typed) {
  const auto options = options_from(typed);
  if (!options) return tell(options.error());
  const auto loaded = take::load_take(typed.take);
  if (!loaded) return tell(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  take::Take take = loaded->take;
  if (take.title.empty()) take.title = take::to_plain_text(typed.take.stem().string());
  const auto arrangement = parts::arrange(take, *options);
  if (!arrangement) {
    return tell({arrangement.error().code,
                 fmt::format("'{}': {}", typed.take.string(), arrangement.error().message)});
  }
  if (!typed.output.empty()) {
    const auto saved = take::save_copy(arrangement->take, typed.output);
    if (!saved) return tell(saved.error());
  }
  for (const std::string& sentence : arrangement->remarks) remark(sentence);
  sheet::TextTabOptions tab;
  tab.width_columns = typed.width > 0 ? typed.width : std::max(40, terminal_columns(100));
  fmt::print("{}", sheet::render_text_tab(arrangement->take, tab));
  if (typed.output.empty()) {
    fmt::print("not saved: -o FILE.take keeps it\n");
  } else {
    fmt::print("saved: {}\n", printable(typed.output.string()));
  }
  return ExitCode::done;
}

}  // namespace lowstride::cli
