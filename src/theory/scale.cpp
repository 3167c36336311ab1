#include "src/theory/scale.hpp"

#include "src/theory/chord_label.hpp"

namespace lowstride::theory {
namespace {

constexpr unsigned mask_of(std::initializer_list<unsigned> semitones) noexcept {
  unsigned mask = 0;
  for (const unsigned semitone : semitones) mask |= 1U << semitone;
  return mask;
}

struct ScaleEntry {
  std::string_view name;
  unsigned mask;  // semitones above the tonic
};

/// In the order of ScaleKind.
constexpr std::array<ScaleEntry, 11> scales{
    ScaleEntry{"major", mask_of({0, 2, 4, 5, 7, 9, 11})},
    ScaleEntry{"natural minor", mask_of({0, 2, 3, 5, 7, 8, 10})},
    ScaleEntry{"harmonic minor", mask_of({0, 2, 3, 5, 7, 8, 11})},
    ScaleEntry{"melodic minor", mask_of({0, 2, 3, 5, 7, 9, 11})},
    ScaleEntry{"dorian", mask_of({0, 2, 3, 5, 7, 9, 10})},
    ScaleEntry{"mixolydian", mask_of({0, 2, 4, 5, 7, 9, 10})},
    ScaleEntry{"lydian", mask_of({0, 2, 4, 6, 7, 9, 11})},
    ScaleEntry{"locrian", mask_of({0, 1, 3, 5, 6, 8, 10})},
    ScaleEntry{"lydian dominant", mask_of({0, 2, 4, 6, 7, 9, 10})},
    ScaleEntry{"diminished", mask_of({0, 2, 3, 5, 6, 8, 9, 11})},
    ScaleEntry{"whole tone", mask_of({0, 2, 4, 6, 8, 10})}};

unsigned turned(unsigned mask, int tonic_pc) noexcept {
  const auto steps = static_cast<unsigned>(((tonic_pc % 12) + 12) % 12);
  return ((mask << steps) | (mask >> (12U - steps))) & 0xFFFU;
}

}  // namespace

unsigned scale_pitch_classes(const Scale& scale) noexcept {
  return turned(scales[static_cast<std::size_t>(scale.kind)].mask, scale.tonic_pc);
}

std::string_view scale_name(ScaleKind kind) noexcept {
  return scales[static_cast<std::size_t>(kind)].name;
}

Scale key_scale(const Key& key) noexcept {
  return {key.tonic_pc, key.is_minor ? ScaleKind::natural_minor : ScaleKind::major};
}

unsigned scale_over_chord(const dsp::ChordReading& chord, const Key& key) noexcept {
  const unsigned in_key = scale_pitch_classes(key_scale(key));
  const unsigned tones = chord_pitch_classes(chord);
  if (tones == 0U) {
    return key.is_minor ? in_key | scale_pitch_classes({key.tonic_pc, ScaleKind::melodic_minor})
                        : in_key;
  }
  unsigned in_force = in_key | tones;
  for (int pc = 0; pc < 12; ++pc) {
    const unsigned bit = 1U << static_cast<unsigned>(pc);
    if ((in_key & bit) == 0U || (tones & bit) != 0U) continue;
    const int step = spell(pc, key).step;
    for (int tone = 0; tone < 12; ++tone) {
      if (((tones >> static_cast<unsigned>(tone)) & 1U) != 0U &&
          spell_over_chord(tone, chord, key).step == step) {
        in_force &= ~bit;  // the chord has this letter in another shape
      }
    }
  }
  return in_force;
}

unsigned scale_in_force(const dsp::ChordReading& chord, const std::optional<Key>& key) noexcept {
  if (key) return scale_over_chord(chord, *key);
  if (!chord.root_pc) return 0U;
  using dsp::ChordQuality;
  ScaleKind kind = ScaleKind::mixolydian;
  if ((dsp::chord_tone_mask(chord.quality) & (1U << 3U)) != 0U) {
    kind = ScaleKind::dorian;
  } else if (chord.quality == ChordQuality::major || chord.quality == ChordQuality::major_seventh ||
             chord.quality == ChordQuality::major_sixth) {
    kind = ScaleKind::major;
  }
  return scale_pitch_classes({*chord.root_pc, kind}) | chord_pitch_classes(chord);
}

}  // namespace lowstride::theory
