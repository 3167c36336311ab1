#pragma once

#include <optional>
#include <string>
#include <vector>

#include "src/take/take.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::take {

/// The take's key, as the theory room has it.
[[nodiscard]] std::optional<theory::Key> key_of(const Take& take);

/// A chord as sheets and desk name it: what a person typed, or the chart's spelling in the take's
/// key.
[[nodiscard]] std::string chord_name(const Take& take, const ChordSpan& span);

/// The chord that each note stands under, as `roles_of` sees it; without a root where there is
/// none.
[[nodiscard]] std::vector<dsp::ChordReading> chords_under(const Take& take);

/// The role of every note of a take under its chords, one each in their order, see
/// theory::line_roles. A note struck up to a quarter of a beat (0.1 s at most) before a change
/// belongs to the new chord. Roles follow from the rest of the take: they are worked out where they
/// are wanted and written into its file for those who read that.
[[nodiscard]] std::vector<std::optional<theory::NoteRole>> roles_of(const Take& take);

}  // namespace lowstride::take
