#include "src/theory/chord_label.hpp"

#include <array>
#include <cstdlib>

#include <fmt/format.h>

namespace lowstride::theory {
namespace {

using dsp::ChordQuality;
using dsp::ChordReading;

struct QualityText {
  std::string_view harte;
  std::string_view chart;
};

/// In the order of dsp::ChordQuality.
constexpr std::array<QualityText, dsp::chord_quality_count> quality_texts{
    QualityText{"maj", ""},       QualityText{"min", "m"},     QualityText{"7", "7"},
    QualityText{"maj7", "maj7"},  QualityText{"min7", "m7"},   QualityText{"minmaj7", "m(maj7)"},
    QualityText{"hdim7", "m7b5"}, QualityText{"dim7", "dim7"}, QualityText{"maj6", "6"},
    QualityText{"min6", "m6"},    QualityText{"sus4", "sus4"}, QualityText{"sus4(b7)", "7sus4"},
    QualityText{"aug", "aug"},    QualityText{"dim", "dim"}};

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

/// Steps of the scale from the root to a tone of the chord; nothing for other pitch classes.
std::optional<int> chord_tone_steps(int semitones, ChordQuality quality) noexcept {
  if (((dsp::chord_tone_mask(quality) >> static_cast<unsigned>(semitones)) & 1U) == 0U) {
    return std::nullopt;
  }
  switch (semitones) {
    case 0:
      return 0;
    case 3:
    case 4:
      return 2;
    case 5:
      return 3;
    case 6:
    case 7:
    case 8:
      return 4;
    case 9:
      return quality == ChordQuality::diminished_seventh ? 6 : 5;
    default:
      return 6;
  }
}

std::string_view bass_degree(int semitones, ChordQuality quality) noexcept {
  if (semitones == 8 && quality == ChordQuality::augmented) return "#5";
  if (semitones == 9 && quality == ChordQuality::diminished_seventh) return "bb7";
  constexpr std::array<std::string_view, 12> degrees{"1",  "b2", "2",  "b3", "3",  "4",
                                                     "b5", "5",  "b6", "6",  "b7", "7"};
  return degrees[static_cast<std::size_t>(semitones)];
}

}  // namespace

PitchName spell_chord_root(int pitch_class, const std::optional<Key>& key) {
  const PitchName name = spell(pitch_class, key);
  const bool is_white_key = (name.alteration == 1 && (name.step == 2 || name.step == 6)) ||
                            (name.alteration == -1 && name.step == 3);
  const bool is_double = name.alteration < -1 || name.alteration > 1;
  return is_double || is_white_key ? spell(pitch_class) : name;
}

std::string harte_label(const ChordReading& chord, const std::optional<Key>& key) {
  if (!chord.root_pc) return "N";
  std::string label = fmt::format("{}:{}", to_text(spell_chord_root(*chord.root_pc, key)),
                                  quality_texts[static_cast<std::size_t>(chord.quality)].harte);
  if (chord.bass_pc != *chord.root_pc) {
    label +=
        fmt::format("/{}", bass_degree(modulo12(chord.bass_pc - *chord.root_pc), chord.quality));
  }
  return label;
}

std::string chart_label(const ChordReading& chord, const std::optional<Key>& key) {
  if (!chord.root_pc) return "N.C.";
  std::string label = to_text(spell_chord_root(*chord.root_pc, key));
  label += quality_texts[static_cast<std::size_t>(chord.quality)].chart;
  if (chord.bass_pc != *chord.root_pc) {
    label += "/" + to_text(spell_over_chord(chord.bass_pc, chord, key));
  }
  return label;
}

PitchName spell_over_chord(int pitch_class, const ChordReading& chord,
                           const std::optional<Key>& key) {
  const PitchName plain = spell(pitch_class, key);
  if (!chord.root_pc) return plain;
  const auto steps = chord_tone_steps(modulo12(pitch_class - *chord.root_pc), chord.quality);
  if (!steps) return plain;
  const PitchName root = spell_chord_root(*chord.root_pc, key);
  PitchName name{(root.step + *steps) % 7, 0};
  name.alteration = modulo12(pitch_class - theory::pitch_class(name) + 6) - 6;
  return std::abs(name.alteration) <= 1 ? name : plain;
}

unsigned chord_pitch_classes(const ChordReading& chord) noexcept {
  if (!chord.root_pc) return 0U;
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  const auto root = static_cast<unsigned>(modulo12(*chord.root_pc));
  const unsigned turned = (tones << root) | (tones >> (12U - root));
  return (turned | (1U << static_cast<unsigned>(modulo12(chord.bass_pc)))) & 0xFFFU;
}

}  // namespace lowstride::theory
