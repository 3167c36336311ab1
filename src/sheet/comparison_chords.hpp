#pragma once

#include <cstdint>

#include "src/sheet/comparison.hpp"

// Inside of `compare`.
namespace lowstride::sheet::detail {

[[nodiscard]] inline double seconds(const take::Take& take, std::int64_t samples) {
  return static_cast<double>(samples) / static_cast<double>(take.time_base_hz);
}

/// Chord differences and scores, as shares of time over what each can judge; nothing where either
/// take has no chords.
void compare_chords(const take::Take& mine, const take::Take& other, Comparison& comparison);

}  // namespace lowstride::sheet::detail
