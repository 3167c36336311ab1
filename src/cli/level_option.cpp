#include "src/cli/level_option.hpp"

#include <fmt/format.h>

#include "src/parts/levels.hpp"

namespace lowstride::cli {

Result<take::Take> at_level(const take::Take& take, std::optional<int> level,
                            const std::filesystem::path& path, std::optional<double> tempo_bpm) {
  if (!level) return take;
  const auto known = parts::level_from_number(*level);
  if (!known) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("There is no level {}; say 1 (roots) to 6 (the whole line).", *level));
  }
  auto part = parts::level_take(take, *known, {.tempo_bpm = tempo_bpm});
  if (!part) {
    return fail(part.error().code, fmt::format("'{}': {}", path.string(), part.error().message));
  }
  return part;
}

}  // namespace lowstride::cli
