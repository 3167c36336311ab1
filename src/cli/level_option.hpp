#pragma once

#include <filesystem>
#include <optional>

#include "src/base/result.hpp"
#include "src/take/take.hpp"

namespace lowstride::cli {

/// The level of a take that `--level N` asks for, or the take itself without the option. Errors:
/// those of parts::level_take, naming the take; invalid_argument for a number that is no level.
[[nodiscard]] Result<take::Take> at_level(const take::Take& take, std::optional<int> level,
                                          const std::filesystem::path& path,
                                          std::optional<double> tempo_bpm = {});

}  // namespace lowstride::cli
