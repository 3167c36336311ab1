#include "src/sheet/written_pitch.hpp"

#include <array>
#include <cstdlib>

#include "src/sheet/harmony.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::sheet {

bool is_bass_neck(const neck::Neck& neck) noexcept {
  constexpr int b1 = 35;
  return neck.open_midi.empty() || neck.open_midi.front() < b1;
}

int signature_alteration(int signature, int step) noexcept {
  constexpr std::array<int, 7> sharps{3, 0, 4, 1, 5, 2, 6};  // F C G D A E B
  for (int i = 0; i < std::abs(signature); ++i) {
    const auto at = static_cast<std::size_t>(signature > 0 ? i : 6 - i);
    if (sharps[at] == step) return signature > 0 ? 1 : -1;
  }
  return 0;
}

Accidentals::Accidentals(int signature) : signature_(signature) {}

std::optional<int> Accidentals::needed(theory::PitchName name, int octave) {
  const std::pair place{name.step, octave};
  const auto known = written_.find(place);
  const int in_force =
      known == written_.end() ? signature_alteration(signature_, name.step) : known->second;
  if (in_force == name.alteration) return std::nullopt;
  written_[place] = name.alteration;
  return name.alteration;
}

std::vector<std::vector<WrittenPitch>> written_pitches(const take::Take& take,
                                                       const SheetLayout& layout) {
  const auto key = key_of(take);
  Accidentals accidentals(key ? theory::key_signature(*key) : 0);
  dsp::ChordReading in_force;
  std::vector<std::vector<WrittenPitch>> bars;
  for (const SheetBar& bar : layout.bars) {
    accidentals.begin_bar();
    auto& pitches = bars.emplace_back();
    std::size_t chord = 0;
    for (const SheetNote& note : bar.notes) {
      while (chord < bar.chords.size() && bar.chords[chord].onset_tatums <= note.onset_tatums) {
        in_force = take.chords[bar.chords[chord++].chord_index].chord;
      }
      const int midi = note.midi + written_octave_semitones;
      WrittenPitch pitch;
      pitch.name = theory::spell_over_chord(midi, in_force, key);
      pitch.octave = theory::written_octave(midi, pitch.name);
      if (!note.is_tied_from_previous) {
        pitch.accidental = accidentals.needed(pitch.name, pitch.octave);
      }
      pitches.push_back(pitch);
    }
    if (!bar.chords.empty()) in_force = take.chords[bar.chords.back().chord_index].chord;
  }
  return bars;
}

}  // namespace lowstride::sheet
