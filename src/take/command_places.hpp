#pragma once

#include <cmath>
#include <cstdint>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

// Which notes, beats and chords of a take are meant by a place that a person typed. Inside of
// edit_from_options. Errors are sentences without a capital, to follow the option and its value.
namespace lowstride::take::detail {

/// How far from the place that was typed a note may begin and still be the one that is meant. Half
/// a quaver at 100 a minute; players are rarely further from the beat.
inline constexpr double note_reach_seconds = 0.15;

[[nodiscard]] inline std::int64_t samples_of(const Take& take, double seconds) {
  return std::llround(seconds * static_cast<double>(take.time_base_hz));
}

/// "FROM..TO", not one place.
[[nodiscard]] bool is_stretch_text(std::string_view text);

/// The note that begins nearest to a place, or sounds there. Errors: invalid_argument (no time),
/// not_found.
[[nodiscard]] Result<Note> note_at(const Take& take, std::string_view text);

/// That note, or of FROM..TO all that begin in it; one at least.
[[nodiscard]] Result<std::vector<NoteId>> notes_in(const Take& take, std::string_view text);

/// The note and the chord that begin near a place, or where neither does, the note that sounds
/// there, as an edit that confirms them. Errors: invalid_argument (no time), not_found.
[[nodiscard]] Result<Confirm> what_begins_at(const Take& take, std::string_view text);

/// A stretch; one in bars takes in the notes that are played ahead of its first beat.
[[nodiscard]] Result<Stretch> bars_or_times(const Take& take, std::string_view text);

/// The nearest beat. Errors: not_found for a take without beats.
[[nodiscard]] Result<Beat> beat_at(const Take& take, std::string_view text);

/// FROM..TO, or from a place, set on its beat where that is near, to the next change; where a chord
/// begins just here, to its end.
[[nodiscard]] Result<Stretch> chord_stretch(const Take& take, std::string_view text);

}  // namespace lowstride::take::detail
