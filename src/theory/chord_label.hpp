#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/base/result.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::theory {

/// A chord that a person or a file named.
struct ParsedChord {
  dsp::ChordReading chord;
  bool is_exact = true;  // false when the label says more than `chord` holds, as "C13" or "G7b9"

  bool operator==(const ParsedChord&) const = default;
};

/// A chord label in either syntax: as published by Harte, Sandler, Abdallah & Gómez, "Symbolic
/// representation of musical chords", ISMIR 2005 ("Bb:7/3", "C:min(9)", "N"), or as charts write it
/// ("Bb7/D", "Cm7b5", "Ebmaj7", "F#-7", "G°7", "N.C."). Extensions are reduced to the seventh chord
/// under them, and a power chord to a major one; `is_exact` tells. Errors: invalid_argument.
[[nodiscard]] Result<ParsedChord> parse_chord(std::string_view text);

/// How the root of a chord is written in a key: as `spell` has it, but never with a double
/// accidental nor as E sharp, B sharp or F flat, which nobody reads at sight (common practice in
/// charts).
[[nodiscard]] PitchName spell_chord_root(int pitch_class,
                                         const std::optional<Key>& key = std::nullopt);

/// The label in the published syntax, bass as a degree: "Bb:7/3"; "N" for no chord.
[[nodiscard]] std::string harte_label(const dsp::ChordReading& chord,
                                      const std::optional<Key>& key = std::nullopt);

/// The label as charts write it: "Bb7/D", "Cm7b5", "Ebmaj7"; "N.C." for no chord.
[[nodiscard]] std::string chart_label(const dsp::ChordReading& chord,
                                      const std::optional<Key>& key = std::nullopt);

/// How a pitch class is written over a chord in a key: chord tones by their degree (the seventh of
/// Ab7 is Gb), others as in the key; double accidentals are avoided.
[[nodiscard]] PitchName spell_over_chord(int pitch_class, const dsp::ChordReading& chord,
                                         const std::optional<Key>& key = std::nullopt);

/// Tones of a chord as a mask of pitch classes (bit 0 = C), with its bass; 0 for no chord.
[[nodiscard]] unsigned chord_pitch_classes(const dsp::ChordReading& chord) noexcept;

}  // namespace lowstride::theory
