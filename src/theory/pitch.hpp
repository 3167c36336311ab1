#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "src/base/result.hpp"

namespace lowstride::theory {

/// A major or minor key. `tonic_pc` 0 = C .. 11 = B.
struct Key {
  int tonic_pc = 0;
  bool is_minor = false;

  bool operator==(const Key&) const = default;
};

/// A pitch class as it is written: letter and accidentals. B flat is {6, -1}.
struct PitchName {
  int step = 0;        // 0 = C, 1 = D .. 6 = B
  int alteration = 0;  // semitones: -1 flat, +1 sharp; -2..2

  bool operator==(const PitchName&) const = default;
};

/// Frequency of a pitch (69.0 = A4) on the grid of `a4_hz`: a4 * 2^((midi - 69) / 12).
/// Source: twelve-tone equal temperament; 440 Hz is ISO 16:1975.
[[nodiscard]] double frequency_hz(double pitch_midi, double a4_hz = 440.0) noexcept;
/// The pitch, with fraction, of a frequency > 0.
[[nodiscard]] double pitch_midi(double frequency_hz, double a4_hz = 440.0) noexcept;

/// Semitones above C of a written pitch class, 0..11.
[[nodiscard]] int pitch_class(PitchName name) noexcept;
/// "C", "Bb", "F#"; a double flat is "bb".
[[nodiscard]] std::string to_text(PitchName name);

/// How a pitch class is written in a key: of its names the one that lies within five fifths below
/// and six above the tonic, so B flat in F, F sharp in G, the raised fourth as a sharp, but never
/// with a double sign. Without a key, the names that charts use: Db Eb F# Ab Bb. Any integer is
/// taken modulo 12.
[[nodiscard]] PitchName spell(int pitch_class, const std::optional<Key>& key = std::nullopt);
/// The name with its octave, "Bb1"; middle C (60) is "C4".
[[nodiscard]] std::string pitch_text(int midi, const std::optional<Key>& key = std::nullopt);
/// A written pitch with its octave: B sharp and C flat count their own octave ("B#1" is 36).
[[nodiscard]] std::string pitch_text(int midi, PitchName name);
/// The octave that a pitch is written in under a name; 4 for middle C.
[[nodiscard]] int written_octave(int midi, PitchName name) noexcept;

/// Reads a letter with accidentals (b, #, and the signs U+266D, U+266F) from the front of `text`
/// and removes it; nothing when there is none. Small letters are read too, but a 'b' counts as a
/// flat wherever it follows a letter.
[[nodiscard]] std::optional<PitchName> take_pitch_name(std::string_view& text);

/// A pitch as a person types it: "E1", "Bb2", "F#1", or its MIDI number "28". Range 0..127.
/// Errors: invalid_argument.
[[nodiscard]] Result<int> parse_pitch(std::string_view text);

/// "Bb", "Gm".
[[nodiscard]] std::string key_text(const Key& key);
/// How a key's tonic is written: of two names the one with fewer accidentals in its signature;
/// six flats rather than six sharps (common practice in charts).
[[nodiscard]] PitchName key_name(const Key& key);
/// Sharps (> 0) or flats (< 0) of the key's signature, -6..6.
[[nodiscard]] int key_signature(const Key& key);
/// A key as a person types it: "Bb", "Gm", "F# minor", "Eb major". Errors: invalid_argument.
[[nodiscard]] Result<Key> parse_key(std::string_view text);

}  // namespace lowstride::theory
