#include "src/sheet/written_pitch.hpp"

#include <array>
#include <cstdlib>

#include "src/take/harmony.hpp"
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

std::vector<BarPitches> written_pitches(const take::Take& take, const SheetLayout& layout) {
  const auto key = key_of(take);
  Accidentals accidentals(key ? theory::key_signature(*key) : 0);
  dsp::ChordReading in_force;
  const auto written = [&](int sounding_midi, bool is_tied) {
    const int midi = sounding_midi + written_octave_semitones;
    WrittenPitch pitch;
    pitch.name = theory::spell_over_chord(midi, in_force, key);
    pitch.octave = theory::written_octave(midi, pitch.name);
    if (!is_tied) pitch.accidental = accidentals.needed(pitch.name, pitch.octave);
    return pitch;
  };
  std::vector<BarPitches> bars;
  for (const SheetBar& bar : layout.bars) {
    accidentals.begin_bar();
    BarPitches& pitches = bars.emplace_back();
    std::size_t chord = 0;
    const auto reach = [&](int tatums) {
      while (chord < bar.chords.size() && bar.chords[chord].onset_tatums <= tatums) {
        in_force = take.chords[bar.chords[chord++].chord_index].chord;
      }
    };
    std::size_t stab = 0;
    const auto write_stabs_before = [&](int tatums) {
      for (; stab < bar.stabs.size() && bar.stabs[stab].onset_tatums < tatums; ++stab) {
        reach(bar.stabs[stab].onset_tatums);
        auto& strings = pitches.stabs.emplace_back();
        for (const int midi : bar.stabs[stab].midi) {
          strings.push_back(written(midi, bar.stabs[stab].is_tied_from_previous));
        }
      }
    };
    for (const SheetNote& note : bar.notes) {
      write_stabs_before(note.onset_tatums);
      reach(note.onset_tatums);
      pitches.notes.push_back(written(note.midi, note.is_tied_from_previous));
    }
    write_stabs_before(bar.length_tatums());
    reach(bar.length_tatums());
  }
  return bars;
}

}  // namespace lowstride::sheet
