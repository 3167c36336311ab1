#pragma once

#include <string>
#include <string_view>

#include "src/base/result.hpp"
#include "src/drill/answer.hpp"

namespace lowstride::drill {

/// What may be typed for an item, one line for a player: "a note: Eb, Eb2, or string and fret 3/6".
[[nodiscard]] std::string answer_help(const Item& item);

/// Reads an answer as typed:
///   a note       Eb (octave left open), Eb2 (sounding, C4 = middle C), 3/6 (string/fret as on the
///                take's neck, string 1 the highest), x (dead note)
///   a role       its name or the start of it, or its number in the list
///   a change     beats counted from 1, "3 5.5", or bars "b6:3"
///   a chord      as charts write it: Cm7, G7/B
///   a line       notes in order, one a beat: "G2 B2 - D3", '-' a beat without a new note; "@2.5"
///                before a note places it: "G2 B2 @2.5 C3"; '|' goes to the next bar's one
///   a choice     A or B
/// Errors: invalid_argument, one sentence naming what was typed and what is understood.
[[nodiscard]] Result<Answer> parse_answer(const Item& item, std::string_view text);

/// Roles that may be asked for, in the order in which they are listed and numbered from 1.
[[nodiscard]] std::span<const theory::Role> asked_roles() noexcept;

}  // namespace lowstride::drill
