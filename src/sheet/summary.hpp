#pragma once

#include <cstdint>
#include <string>

#include "src/take/take.hpp"

namespace lowstride::sheet {

struct SummaryOptions {
  double doubt_threshold = 0.8;
  int worst_doubt_count = 8;  // how many are listed by place
};

/// What a lift found, in a few lines: tempo, meter, swing, tuning, key, form, notes, doubts with
/// the places of the worst, and how many unconfirmed notes are expected to be wrong (the sum of one
/// minus confidence). Says plainly what was not found. Ends with a newline.
[[nodiscard]] std::string render_summary(const take::Take& take,
                                         const SummaryOptions& options = {});

/// A place in a take as people type it: "b12:3", "b12:3.5" with a grid, "1:12.500" without.
[[nodiscard]] std::string place_text(const take::Take& take, std::int64_t time_samples);

}  // namespace lowstride::sheet
