#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "src/drill/answer.hpp"

namespace lowstride::drill::detail {

struct Pairing {
  std::optional<std::size_t> right;  // index of the item's note; nothing: an extra note
  std::optional<std::size_t> heard;  // index of the answer's note; nothing: left open
};

/// Pairs what was played with what was answered, in order of time. `shift_beats` is taken off the
/// answer's times first (a steady delay is not a matter of which note is meant).
[[nodiscard]] std::vector<Pairing> align(std::span<const ItemNote> right,
                                         std::span<const AnsweredNote> heard, double shift_beats);

}  // namespace lowstride::drill::detail
