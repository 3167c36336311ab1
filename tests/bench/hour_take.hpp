#pragma once

#include "src/take/take.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::bench {

/// An hour of 10,000 notes on the beat at 166.7 a minute, with chords, doubts and alternatives;
/// 48,000 samples a second.
inline take::Take hour_of_walking() {
  sheet::example::TakeMaker maker(10000.0 / 60.0);
  maker.bars(2500);
  const char* pitches[] = {"E1", "G1", "A1", "B1", "D2", "E2", "F#2", "A2"};
  for (int i = 0; i < 10000; ++i) {
    maker.note(i, 0.92, pitches[(i * 5 + i / 7) % 8], i % 9 == 0 ? 0.5 : 0.95);
    maker.take().notes.back().alternatives = {{40, 0.3}, {45, 0.1}};
  }
  for (int bar = 0; bar < 2500; ++bar) {
    maker.chord(4.0 * bar, 4.0 * bar + 4.0, bar % 2 == 0 ? "E7" : "A7", bar % 5 == 0 ? 0.5 : 0.9);
  }
  return maker.done();
}

}  // namespace lowstride::bench
