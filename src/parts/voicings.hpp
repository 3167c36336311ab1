#pragma once

#include <optional>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/neck/chord_shape.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::parts {

/// What a stab should be like.
struct StabWish {
  int fewest_strings = 2;
  int most_strings = 3;
  int best_strings = 3;
  bool is_shell = false;  // third and seventh without root and fifth, where the chord has a seventh
  double max_span_mm = 135.0;
};

/// A stab over a bass note, and the hand that holds both.
struct Voicing {
  std::optional<neck::Position> bass;     // with its finger; nothing: the stab alone
  std::vector<neck::Position> positions;  // of the stab, with fingers, lowest string first
  int index_fret = 1;
  double cost = 0.0;  // effort, and how far the stab is from the wish; >= 0

  bool operator==(const Voicing&) const = default;
};

/// Stabs for a chord that one hand holds together with a bass note (`bass`: string and fret; its
/// string and the lower ones are taken), or alone, cheapest first and at most `most_count`. Each
/// has the third of the chord (the fourth of a suspended one) and its sixth or seventh, unless the
/// bass plays that; of a triad a second tone. All lie above the bass, on the four highest strings,
/// no tone twice unless four strings are allowed. Common practice: three tones about the octave
/// of middle C, strings side by side. Empty without a chord or when no hand can hold any.
[[nodiscard]] std::vector<Voicing> stab_voicings(const neck::Neck& neck,
                                                 const dsp::ChordReading& chord,
                                                 const std::optional<neck::Position>& bass,
                                                 const StabWish& wish, std::size_t most_count);

}  // namespace lowstride::parts
