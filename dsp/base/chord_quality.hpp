#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace lowstride::dsp {

/// What a chord is made of above its root. The order is the column order of chord evidence and
/// of the stored weights: append only.
enum class ChordQuality : std::uint8_t {
  major,
  minor,
  dominant_seventh,
  major_seventh,
  minor_seventh,
  minor_major_seventh,
  half_diminished_seventh,
  diminished_seventh,
  major_sixth,
  minor_sixth,
  suspended_fourth,
  seventh_suspended_fourth,
  augmented,
  diminished,
};

inline constexpr std::size_t chord_quality_count = 14;
inline constexpr std::size_t pitch_class_count = 12;

/// Columns of a chord table: `root_pc * chord_quality_count + quality`, then "no chord" last.
inline constexpr std::size_t chord_column_count = pitch_class_count * chord_quality_count + 1;
inline constexpr std::size_t no_chord_column = chord_column_count - 1;

[[nodiscard]] constexpr std::size_t chord_column(int root_pc, ChordQuality quality) noexcept {
  return static_cast<std::size_t>(root_pc) * chord_quality_count +
         static_cast<std::size_t>(quality);
}

/// Chord tones as a mask of semitones above the root (bit 0 = root). Definitions after Harte,
/// Sandler, Abdallah & Gómez, "Symbolic representation of musical chords", ISMIR 2005, table 1;
/// `seventh_suspended_fourth` is their `sus4(b7)`.
[[nodiscard]] constexpr std::uint16_t chord_tone_mask(ChordQuality quality) noexcept {
  constexpr auto mask = [](auto... semitones) {
    return static_cast<std::uint16_t>(((1U << static_cast<unsigned>(semitones)) | ...));
  };
  constexpr std::array<std::uint16_t, chord_quality_count> masks{
      mask(0, 4, 7),     mask(0, 3, 7),     mask(0, 4, 7, 10), mask(0, 4, 7, 11), mask(0, 3, 7, 10),
      mask(0, 3, 7, 11), mask(0, 3, 6, 10), mask(0, 3, 6, 9),  mask(0, 4, 7, 9),  mask(0, 3, 7, 9),
      mask(0, 5, 7),     mask(0, 5, 7, 10), mask(0, 4, 8),     mask(0, 3, 6)};
  return masks[static_cast<std::size_t>(quality)];
}

}  // namespace lowstride::dsp
