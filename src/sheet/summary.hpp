#pragma once

#include <cstdint>
#include <string>

#include "src/take/take.hpp"

namespace lowstride::sheet {

struct SummaryOptions {
  double doubt_threshold = 0.8;
  int worst_doubt_count = 8;  // how many are listed by place
};

/// What a lift found, in a few lines: tempo, meter, swing, tuning, key, form (with one chorus in
/// roman numerals), chords, notes and how many of the unconfirmed are expected to be wrong (the sum
/// of one minus confidence), doubts with the places of the worst. Says plainly what was not found.
/// Ends with a newline.
[[nodiscard]] std::string render_summary(const take::Take& take,
                                         const SummaryOptions& options = {});

/// The place of a note as people name it: as take::format_place, but on the beat when it is within
/// 0.15 of a beat (as long as the beats are there) of one, and in tenths of a beat elsewhere:
/// "b12:3", "b12:3.6".
[[nodiscard]] std::string place_text(const take::Take& take, std::int64_t time_samples);

}  // namespace lowstride::sheet
