#pragma once

#include <optional>

#include "src/base/result.hpp"
#include "src/neck/fingering.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::analysis {

/// The edit that fingers the whole line of a take on its neck. `octave_shift` moves the line by
/// that many octaves; without it, the fewest octaves that bring a line up from below the neck.
/// Pinned positions stay. Errors: those of neck::finger_line.
[[nodiscard]] Result<take::Edit> fingering_edit(const take::Take& take,
                                                std::optional<int> octave_shift,
                                                neck::FingeringOptions options = {});

}  // namespace lowstride::analysis
