#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "src/sheet/layout.hpp"

namespace lowstride::sheet {

enum class NoteValue : std::uint8_t { whole, half, quarter, eighth, sixteenth, thirty_second };

/// A note or rest as one sign of notation can show it.
struct WrittenValue {
  std::optional<std::size_t> note;  // into SheetBar::notes (or stabs); nothing = a rest
  int onset_tatums = 0;             // from the start of the bar
  int length_tatums = 0;
  NoteValue value = NoteValue::quarter;
  int dot_count = 0;
  bool is_triplet = false;  // three in the time of two
  bool begins_tuplet = false;
  bool ends_tuplet = false;
  bool is_tied_from_previous = false;
  bool is_tied_to_next = false;

  bool operator==(const WrittenValue&) const = default;
};

/// The notes of a bar and the rests between them, cut where notation must: at beats, except for
/// halves, dotted halves and wholes that begin on a beat. Lengths add up to the bar exactly.
/// Common practice: a half begins on any beat of 3/4 and on beats 1, 2 and 3 of 4/4.
[[nodiscard]] std::vector<WrittenValue> written_values(const SheetBar& bar);
/// The same for the voice of the stabs: `note` is an index into SheetBar::stabs. Empty where a bar
/// has none.
[[nodiscard]] std::vector<WrittenValue> stab_values(const SheetBar& bar);

}  // namespace lowstride::sheet
