#pragma once

#include <string>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::theory {

/// A chord by its degree in a key: "I7", "ii7", "bVII", "#ivdim7", "V7/3" (its third in the bass).
/// Degrees count on the major scale of the tonic in minor keys too, as jazz charts have it (bIII,
/// bVI, bVII); capital numerals for chords with a major third or none, small ones with a minor one;
/// diminished chords on the raised step, others on the lowered one; "7b5" after small letters is
/// half diminished,
/// "+" augmented. "N.C." for no chord. Source: numerals by quality after Kostka & Payne, Tonal
/// Harmony (from memory); flats in minor as the library tonal 6.0.0 (npm) names the degrees.
[[nodiscard]] std::string roman_numeral(const dsp::ChordReading& chord, const Key& key);

}  // namespace lowstride::theory
