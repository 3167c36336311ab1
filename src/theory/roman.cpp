#include "src/theory/roman.hpp"

#include <array>
#include <string_view>

namespace lowstride::theory {
namespace {

using dsp::ChordQuality;

constexpr std::array<std::string_view, 12> lowered{"I",  "bII", "II",  "bIII", "III",  "IV",
                                                   "bV", "V",   "bVI", "VI",   "bVII", "VII"};
constexpr std::array<std::string_view, 12> raised{"I",   "#I", "II", "#II", "III", "IV",
                                                  "#IV", "V",  "#V", "VI",  "#VI", "VII"};

/// In the order of ChordQuality.
constexpr std::array<std::string_view, dsp::chord_quality_count> suffixes{
    "", "", "7", "maj7", "7", "maj7", "7b5", "dim7", "6", "6", "sus4", "7sus4", "+", "dim"};

bool is_diminished(ChordQuality quality) noexcept {
  return (dsp::chord_tone_mask(quality) & (1U << 6U)) != 0U;
}

std::string in_small_letters(std::string_view numeral) {
  std::string small;
  for (const char letter : numeral) small += letter == 'I' ? 'i' : letter == 'V' ? 'v' : letter;
  return small;
}

}  // namespace

std::string roman_numeral(const dsp::ChordReading& chord, const Key& key) {
  if (!chord.root_pc) return "N.C.";
  const auto above = [](int pitch_class, int from) {
    return static_cast<std::size_t>((pitch_class - from + 24) % 12);
  };
  const std::size_t step = above(*chord.root_pc, key.tonic_pc);
  const std::string_view numeral = is_diminished(chord.quality) ? raised[step] : lowered[step];
  const bool is_minor = (dsp::chord_tone_mask(chord.quality) & (1U << 3U)) != 0U;
  std::string text = is_minor ? in_small_letters(numeral) : std::string(numeral);
  text += suffixes[static_cast<std::size_t>(chord.quality)];
  if (chord.bass_pc != *chord.root_pc) {
    constexpr std::array<std::string_view, 12> degrees{"1",  "b2", "2",  "b3", "3",  "4",
                                                       "b5", "5",  "b6", "6",  "b7", "7"};
    text += "/";
    text += degrees[above(chord.bass_pc, *chord.root_pc)];
  }
  return text;
}

}  // namespace lowstride::theory
