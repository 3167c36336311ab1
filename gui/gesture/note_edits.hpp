#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

// What a gesture on notes means, as one edit. Pure. Errors: invalid_argument with a sentence for
// the status line, where the gesture has no meaning (nothing selected, off the neck).

using NoteIds = std::span<const take::NoteId>;

/// Semitones up or down; an octave is twelve.
[[nodiscard]] Result<take::Edit> shift_pitch(const take::Take& take, NoteIds ids, int semitones);

/// The note's pitch is that of another candidate.
[[nodiscard]] Result<take::Edit> set_pitch(const take::Take& take, take::NoteId id, int midi);

/// The note is played at this fret of a string (number 1 = highest): sets pitch and pins the place.
[[nodiscard]] Result<take::Edit> set_fret(const take::Take& take, take::NoteId id,
                                          int string_number, int fret);

/// The same pitch on a neighbouring string: -1 = the next higher string, +1 = the next lower one.
[[nodiscard]] Result<take::Edit> move_to_string(const take::Take& take, NoteIds ids, int strings);

/// A string of its own choice again.
[[nodiscard]] Result<take::Edit> unpin(const take::Take& take, NoteIds ids);

/// Onset and end as dragged; the string too, where it changed.
[[nodiscard]] Result<take::Edit> place_note(const take::Take& take, take::NoteId id,
                                            const take::Stretch& place,
                                            std::optional<int> string_number);

/// Onsets (or ends) of the notes moved by samples.
enum class NoteEdge : std::uint8_t { onset, end };
[[nodiscard]] Result<take::Edit> nudge(const take::Take& take, NoteIds ids, NoteEdge edge,
                                       std::int64_t samples);

/// In two at a time inside it, else in its middle.
[[nodiscard]] Result<take::Edit> split_note(const take::Take& take, take::NoteId id,
                                            std::optional<std::int64_t> at_samples);
[[nodiscard]] Result<take::Edit> join_notes(const take::Take& take, NoteIds ids);
/// Held until the next note begins; where that is the same pitch, both are one.
[[nodiscard]] Result<take::Edit> tie_notes(const take::Take& take, NoteIds ids);
[[nodiscard]] Result<take::Edit> remove_notes(const take::Take& take, NoteIds ids);
[[nodiscard]] Result<take::Edit> toggle_dead(const take::Take& take, NoteIds ids);

/// A note on a string at a time: as long as the beat goes on or up to the next note. Its pitch is
/// what the evidence hears there on that string, else the open string.
[[nodiscard]] Result<take::Edit> add_note(const take::Take& take, const dsp::Evidence* evidence,
                                          int string_number, std::int64_t at_samples);

/// Confirms or doubts the notes and, if given, a chord and a beat.
struct Selected {
  std::vector<take::NoteId> notes;
  std::optional<take::ChordId> chord;
  std::optional<take::BeatId> beat;
};
[[nodiscard]] Result<take::Edit> confirm(const Selected& selected);
[[nodiscard]] Result<take::Edit> mark_doubtful(const Selected& selected);

/// Notes of the same pitch on the same string.
[[nodiscard]] std::vector<take::NoteId> all_like(const take::Take& take, take::NoteId id);
/// Notes that begin in a stretch.
[[nodiscard]] std::vector<take::NoteId> notes_in(const take::Take& take,
                                                 const take::Stretch& stretch);

/// The notes of a stretch put at `to_samples`, beat for beat, instead of what stands there.
[[nodiscard]] Result<take::Edit> copy_stretch(const take::Take& take, const take::Stretch& from,
                                              std::int64_t to_samples);

/// The nearest half, third or quarter of a beat, where one is within `reach_samples`.
[[nodiscard]] std::int64_t snapped_to_grid(const take::Take& take, std::int64_t sample,
                                           double reach_samples);

}  // namespace lowstride::desk
