#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include "src/drill/item.hpp"

namespace lowstride::drill {

/// Hints are given on request alone, each telling more than the one before and lowering the grade:
/// silence while listening and answers before feedback teach more (Paney, Psychology of Music,
/// 2014).
enum class HintStep { direction, scale_degree, chord_function, note, sound };
inline constexpr int hint_step_count = 5;

struct Hint {
  HintStep step = HintStep::direction;
  std::string text;                 // one sentence
  std::optional<std::size_t> note;  // to be sounded, index into the item's notes; for `sound` only
};

/// The hint of a step, 1 .. hint_step_count, on a note of the item (for chords and changes, on
/// those; `note_index` is ignored). Nothing for a kind that has no hints: which-is-it and working
/// out, which is compared at the end only. A step that says nothing here (a scale degree without a
/// key) gives the next one that does.
[[nodiscard]] std::optional<Hint> hint_for(const Item& item, int step, std::size_t note_index);

/// Degree of a pitch class in a key as players say it: "1", "b3", "#4".
[[nodiscard]] std::string degree_text(int pitch_class, const theory::Key& key);

}  // namespace lowstride::drill
