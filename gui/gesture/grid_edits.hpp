#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

// What a gesture on beats, chords and passages means, as one edit. Pure. Errors as in
// note_edits.hpp.

/// Beats where somebody tapped, instead of those between half a tap before the first and half a
/// tap after the last. Taps are smoothed: each moves halfway to where its neighbours put it. Needs
/// three taps or more.
[[nodiscard]] Result<take::Edit> tapped_beats(const take::Take& take,
                                              std::span<const std::int64_t> taps_samples);
/// Twice as many beats in the stretch (the take where none is given), or every second one, from a
/// first beat of a bar on.
[[nodiscard]] Result<take::Edit> double_beats(const take::Take& take,
                                              std::optional<take::Stretch> stretch);
[[nodiscard]] Result<take::Edit> halve_beats(const take::Take& take,
                                             std::optional<take::Stretch> stretch);

/// A label typed for a chord: "Bb7/D", "Cm7b5", "N.C.".
[[nodiscard]] Result<take::Edit> set_chord_label(const take::Take& take, take::ChordId id,
                                                 std::string_view text);
/// A new chord from a time to the next change.
[[nodiscard]] Result<take::Edit> add_chord(const take::Take& take, std::int64_t at_samples,
                                           std::string_view text);
/// Another bass under a chord.
[[nodiscard]] Result<take::Edit> set_chord_bass(const take::Take& take, take::ChordId id,
                                                int pitch_class);
/// One of the machine's other candidates.
[[nodiscard]] Result<take::Edit> choose_chord(const take::Take& take, take::ChordId id,
                                              const dsp::ChordReading& chord);

/// Labels that begin with what was typed, likeliest first: the chord's own candidates, then chords
/// that the take has already, then the common ones on the typed root. At most `most`.
[[nodiscard]] std::vector<std::string> chord_completions(const take::Take& take,
                                                         std::optional<take::ChordId> id,
                                                         std::string_view typed, std::size_t most);

/// A name that no passage has: "passage 1", "passage 2", …
[[nodiscard]] std::string free_passage_name(const take::Take& take);
/// The stretch moved to the nearest beats; as it is where there are none.
[[nodiscard]] take::Stretch on_beats(const take::Take& take, const take::Stretch& stretch);

}  // namespace lowstride::desk
