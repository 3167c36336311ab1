#pragma once

#include <optional>

#include "src/base/result.hpp"
#include "src/parts/level_line.hpp"
#include "src/take/take.hpp"

namespace lowstride::parts {

struct LevelOptions {
  std::optional<double> tempo_bpm = {};  // a steady tempo, 20..400; nothing = the take's own beats
};

/// A graded version of a take as a take of its own: no recording, a time base of 48,000 a second,
/// the beats of the take (or steady ones from 0 on), its chords on them, passages, key, form and
/// neck. Its notes are confirmed, since they follow from the take by the rules of `level_line`, and
/// fingered for the take's neck and hand, the first three levels in the first position where nobody
/// chose another; the whole line keeps states, pins and swing. The title says the level. Stabs are
/// left out; arrange the level for those. Deterministic. Errors: invalid_argument for a take
/// without beats (say how to set them), without any chord, or with a tempo that makes no sense.
[[nodiscard]] Result<take::Take> level_take(const take::Take& take, Level level,
                                            const LevelOptions& options = {});

/// Adds notes of a chart to a part that has the chart's beats: each begins on its beat and is let
/// go shortly before the next.
void put_notes(take::Take& part, const std::vector<ChartNote>& notes);

/// Pitches that a line for the take's neck may use, as they sound before its octave shift: the
/// neck's lowest to two octaves above, or to the highest of the line where that is higher and on
/// the neck.
[[nodiscard]] PitchRange pitch_range_of(const take::Take& take);

/// A take without recording, with the beats (steady at `tempo_bpm` if given), chords, passages and
/// facts of another and without notes: what levels and arrangements are written into. Requires two
/// beats at least.
[[nodiscard]] take::Take empty_part(const take::Take& take, std::optional<double> tempo_bpm);

/// A sample of a take in a part that `empty_part` made of it, with the same tempo: linear between
/// beats, not below 0 nor behind the end.
[[nodiscard]] std::int64_t sample_in_part(const take::Take& take, const take::Take& part,
                                          std::int64_t sample);

}  // namespace lowstride::parts
