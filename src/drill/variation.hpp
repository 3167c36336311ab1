#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "src/drill/item.hpp"

namespace lowstride::drill {

/// A bar and the same bar with one note changed, in the order in which they are heard.
struct Variation {
  std::vector<ItemNote> first;   // version A
  std::vector<ItemNote> second;  // version B
  int right_index = 0;           // 0: A was played; 1: B
  std::size_t note_index = 0;    // the note that differs
  int altered_midi = 0;
  std::string change;  // "a semitone higher", "an octave lower", "the third for the root"

  bool operator==(const Variation&) const = default;
};

/// Alters one note of an item by a semitone, an octave or to another tone of its chord, within the
/// range of the take's neck. Everything follows from the item's key and `seed` (the number of times
/// it was asked), so that it can be judged again. Requires a sounding note.
[[nodiscard]] Variation vary(const Item& item, int seed);

}  // namespace lowstride::drill
