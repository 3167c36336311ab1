#pragma once

#include <algorithm>
#include <string>

#include "src/drill/item.hpp"
#include "src/take/take.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::drill::example {

/// A take whose every note and chord is confirmed.
inline take::Take confirmed(take::Take take) {
  for (take::Note& note : take.notes) note.state = take::State::confirmed;
  for (take::ChordSpan& chord : take.chords) chord.state = take::State::confirmed;
  return take;
}

/// Eight bars in F at 120: two changes of chord in bar 5, else one a bar, on the one.
inline take::Take line() {
  sheet::example::TakeMaker maker(120.0);
  maker.bars(8);
  maker.take().title = "Harbour Steps";
  maker.take().key = take::Key{5, false, take::State::confirmed, 1.0};
  maker.chord(0, 4, "F7").chord(4, 8, "Bb7").chord(8, 12, "F7").chord(12, 16, "F7");
  maker.chord(16, 18, "Gm7")
      .chord(18, 20, "C7")
      .chord(20, 24, "Am7b5")
      .chord(24, 28, "D7/F#")
      .chord(28, 32, "F7");
  const char* const notes[] = {"F1",  "A1", "C2",  "A1", "Bb1", "D2", "F2", "E2", "F2", "C2", "A1",
                               "G1",  "F1", "A1",  "C2", "F#2", "G2", "D2", "C2", "E2", "A1", "C2",
                               "Eb2", "E2", "F#2", "A2", "D2",  "E2", "F2", "C2", "A1", "F1"};
  for (int i = 0; i < 32; ++i) maker.note(i, 0.95, notes[i]);
  return confirmed(maker.done());
}

inline const Item& find(const std::vector<Item>& items, Kind kind, int bar, double beat = -1.0) {
  return *std::find_if(items.begin(), items.end(), [&](const Item& item) {
    return item.kind == kind && item.first_bar == bar &&
           (beat < 0.0 || item.notes[item.asked].beat == beat);
  });
}

}  // namespace lowstride::drill::example
