#pragma once

#include <cmath>
#include <string_view>
#include <vector>

#include "src/neck/fingering.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/take.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet::example {

/// Builds small takes by hand: beats first, then notes and chords by their place in beats.
class TakeMaker {
 public:
  explicit TakeMaker(double bpm, int beats_per_bar = 4, double first_beat_seconds = 0.5)
      : seconds_per_beat_(60.0 / bpm), first_beat_seconds_(first_beat_seconds) {
    take_.time_base_hz = 48000;
    take_.beats_per_bar = beats_per_bar;
    take_.neck = *neck::find_neck("bass");
  }

  /// Beats of `bar_count` bars from bar 1, after `pickup_beats` of bar 0.
  TakeMaker& bars(int bar_count, int pickup_beats = 0) {
    for (int i = -pickup_beats; i < bar_count * take_.beats_per_bar; ++i) {
      take::Beat beat;
      beat.id = take::BeatId{take_.next_id++};
      beat.time_samples = samples(i);
      beat.bar = i < 0 ? 0 : i / take_.beats_per_bar + 1;
      beat.beat = i < 0 ? take_.beats_per_bar + i + 1 : i % take_.beats_per_bar + 1;
      beat.confidence = 0.9;
      take_.beats.push_back(beat);
    }
    take_.length_samples = samples(bar_count * take_.beats_per_bar) + 48000;
    return *this;
  }

  /// A note by its beat (0 = the first of bar 1; fractions allowed) and length in beats.
  TakeMaker& note(double beat, double length, std::string_view pitch, double confidence = 0.95) {
    take::Note note;
    note.id = take::NoteId{take_.next_id++};
    note.onset_samples = samples(beat);
    note.offset_samples = samples(beat + length);
    note.midi = *theory::parse_pitch(pitch);
    note.acoustic_midi = note.midi;
    note.confidence = confidence;
    take_.notes.push_back(note);
    return *this;
  }
  TakeMaker& dead(double beat, std::string_view pitch) {
    note(beat, 0.1, pitch);
    take_.notes.back().is_dead = true;
    return *this;
  }
  TakeMaker& chord(double beat, double end_beat, std::string_view label, double confidence = 0.9) {
    take::ChordSpan span;
    span.id = take::ChordId{take_.next_id++};
    span.begin_samples = samples(beat);
    span.end_samples = samples(end_beat);
    span.chord = theory::parse_chord(label)->chord;
    span.confidence = confidence;
    take_.chords.push_back(span);
    return *this;
  }

  [[nodiscard]] take::Take& take() { return take_; }

  /// The take with its line fingered.
  [[nodiscard]] take::Take done() {
    std::vector<neck::LineNote> line;
    for (const take::Note& note : take_.notes) {
      line.push_back({seconds(note.onset_samples), seconds(note.offset_samples), note.midi,
                      note.is_dead, std::nullopt});
    }
    const auto fingering = neck::finger_line(take_.neck, line);
    take_.octave_shift = fingering->octave_shift;
    for (std::size_t i = 0; i < take_.notes.size(); ++i) {
      take_.notes[i].position = fingering->notes[i].position;
    }
    return take_;
  }

  [[nodiscard]] std::int64_t samples(double beat) const {
    return std::llround((first_beat_seconds_ + beat * seconds_per_beat_) * 48000.0);
  }

 private:
  [[nodiscard]] static double seconds(std::int64_t samples) {
    return static_cast<double>(samples) / 48000.0;
  }

  take::Take take_;
  double seconds_per_beat_;
  double first_beat_seconds_;
};

/// Four bars of a walk in B flat, swung 2 : 1, with what sheets have to show: a skip, a triplet, a
/// dead note, a doubt, a note held over the bar line.
inline take::Take walk() {
  TakeMaker maker(120.0);
  maker.bars(4);
  maker.take().title = "Cellar Stairs";
  maker.take().swing_ratio = 2.0;
  maker.take().key = take::Key{10, false, take::State::proposed, 0.9};
  maker.chord(0, 4, "Bb7").chord(4, 8, "Eb7").chord(8, 10, "Bb7").chord(10, 12, "G7b9");
  maker.chord(12, 14, "Cm7").chord(14, 16, "F7", 0.4);
  maker.note(0, 0.95, "Bb1").note(1, 0.95, "D2").note(2, 0.6, "F2").note(2.667, 0.3, "F2");
  maker.note(3, 0.95, "D2");
  maker.note(4, 0.95, "Eb2").note(5, 0.95, "G2").note(6, 0.95, "Bb2", 0.45).note(7, 0.95, "A2");
  maker.note(8, 0.95, "Bb2").note(9, 0.3, "A2").note(9.333, 0.3, "G2").note(9.667, 0.3, "F2");
  maker.note(10, 0.6, "D2").dead(10.667, "D2").note(11, 2.9, "G2");
  maker.note(14, 0.95, "F1").note(15, 0.95, "A1");
  return maker.done();
}

}  // namespace lowstride::sheet::example
