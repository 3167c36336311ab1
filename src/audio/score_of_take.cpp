#include "src/audio/score_of_take.hpp"

#include <algorithm>

#include "dsp/base/chord_quality.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::audio {

std::vector<int> stab_pitches(const dsp::ChordReading& chord) {
  if (!chord.root_pc) return {};
  constexpr int lowest_midi = 52;  // E3: over the walking line, on a guitar's middle strings
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  std::vector<int> intervals;  // without the root
  for (int semitones = 1; semitones < 12; ++semitones) {
    if ((tones >> static_cast<unsigned>(semitones) & 1U) != 0) intervals.push_back(semitones);
  }
  // Third (or fourth) and the highest tone tell the chord; a triad's root says the rest.
  std::vector<int> wanted{intervals.front(), intervals.back()};
  wanted.push_back(intervals.size() > 2 ? intervals[1] : 0);
  std::vector<int> pitches;
  int floor_midi = lowest_midi;
  for (const int interval : wanted) {
    const int pitch_class = (*chord.root_pc + interval) % 12;
    const int pitch = floor_midi + (pitch_class - floor_midi % 12 + 12) % 12;
    pitches.push_back(pitch);
    floor_midi = pitch + 1;
  }
  return pitches;
}

namespace {

/// Chords as struck in comping, for a take whose stabs nobody has arranged.
void add_comping(const take::Take& take, Score& score) {
  for (const take::ChordSpan& span : take.chords) {
    const std::vector<int> pitches = stab_pitches(span.chord);
    if (pitches.empty()) continue;
    std::int64_t begin = span.begin_samples;
    for (const take::Beat& beat : take.beats) {
      if (beat.beat != 1 || beat.time_samples <= begin || beat.time_samples >= span.end_samples) {
        continue;
      }
      // A one close behind the chord's begin is that begin, heard a little off.
      if (beat.time_samples - begin < take.time_base_hz / 5) continue;
      score.chords.push_back({begin, beat.time_samples, pitches});
      begin = beat.time_samples;
    }
    score.chords.push_back({begin, span.end_samples, pitches});
  }
}

void add_stabs(const take::Take& take, Score& score) {
  for (const take::Stab& stab : take.stabs) {
    ScoreChord chord{stab.onset_samples, stab.offset_samples, {}};
    for (const neck::Position& place : stab.positions) {
      chord.pitches_midi.push_back(neck::sounding_midi(take.neck, place.string_number, place.fret));
    }
    score.chords.push_back(std::move(chord));
  }
}

}  // namespace

Score score_of_take(const take::Take& take) {
  Score score;
  score.a4_hz = take.a4_hz;
  score.length_samples = take.length_samples;
  const bool is_arranged = !take.stabs.empty();
  const int shift = is_arranged ? 12 * take.octave_shift : 0;
  for (const take::Note& note : take.notes) {
    score.notes.push_back({note.onset_samples, note.offset_samples,
                           static_cast<double>(note.midi + shift), note.is_dead});
  }
  for (const take::Beat& beat : take.beats) {
    score.beats.push_back({beat.time_samples, beat.bar, beat.beat});
  }
  is_arranged ? add_stabs(take, score) : add_comping(take, score);
  return score;
}

}  // namespace lowstride::audio
