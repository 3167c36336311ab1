#pragma once

#include <array>
#include <optional>
#include <string_view>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::theory {

enum class ScaleKind {
  major,
  natural_minor,
  harmonic_minor,
  melodic_minor,
  dorian,
  mixolydian,
  lydian,
  locrian,
  lydian_dominant,
  diminished,  // whole and half steps in turn
  whole_tone,
};

struct Scale {
  int tonic_pc = 0;
  ScaleKind kind = ScaleKind::major;

  bool operator==(const Scale&) const = default;
};

/// Pitch classes of a scale as a mask (bit 0 = C). Definitions: common practice.
[[nodiscard]] unsigned scale_pitch_classes(const Scale& scale) noexcept;
[[nodiscard]] std::string_view scale_name(ScaleKind kind) noexcept;

/// The scale of a key: major, or natural minor.
[[nodiscard]] Scale key_scale(const Key& key) noexcept;

/// The scale in force over a chord in a key, in pitch classes: the key's own notes, with those of
/// the chord in place of their neighbours (over D7 in C, F gives way to F sharp). Without a chord
/// the key's scale (in minor with the raised sixth and seventh beside the natural ones). Common
/// practice.
[[nodiscard]] unsigned scale_over_chord(const dsp::ChordReading& chord, const Key& key) noexcept;

/// The same with or without a key: without one the chord's own major, mixolydian (dominant) or
/// dorian (minor) scale with its tones; an empty mask when there is no chord either.
[[nodiscard]] unsigned scale_in_force(const dsp::ChordReading& chord,
                                      const std::optional<Key>& key) noexcept;

}  // namespace lowstride::theory
