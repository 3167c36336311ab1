#include "src/sheet/summary.hpp"

#include <gtest/gtest.h>

#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

TEST(Summary, says_what_was_found_and_where_the_doubts_are) {
  take::Take take = example::walk();
  take.a4_hz = 442.0;  // 7.85 cents over 440 Hz
  take.form = "turnaround";
  // 20 notes: 19 at 0.95 and one at 0.45, so 19 * 0.05 + 0.55 = 1.5 are expected to be wrong.
  EXPECT_EQ(render_summary(take),
            "Tempo     120 bpm\n"
            "Meter     4/4, 4 bars, swing 2.0 : 1\n"
            "Tuning    8 cents sharp (A4 = 442.0 Hz)\n"
            "Key       Bb\n"
            "Form      turnaround\n"
            "Chords    6\n"
            "Notes     18, 1 dead\n"
            "Expected  about 1 of the 18 unconfirmed notes wrong\n"
            "Doubts    1 note, at: b2:3\n"
            "          1 chord, at: b4:3\n");
}

TEST(Summary, says_plainly_what_was_not_found) {
  take::Take take;
  take.length_samples = 480000;
  EXPECT_EQ(render_summary(take),
            "Tempo     no beats were found\n"
            "Tuning    not measured: there are no notes to measure it on\n"
            "Key       not found\n"
            "Chords    none were found\n"
            "Notes     no low line was found\n");
}

TEST(Summary, lists_the_worst_doubts_first) {
  example::TakeMaker maker(120.0);
  maker.bars(4);
  for (int i = 0; i < 16; ++i) maker.note(i, 0.9, "A1", 0.7 - 0.01 * i);
  take::Take take = maker.done();
  take.notes[0].octave_margin = 0.1;
  const std::string text = render_summary(take, {.worst_doubt_count = 3});
  EXPECT_NE(text.find("Doubts    16 notes, worst first: b1:1 b4:4 b4:3\n"), std::string::npos)
      << text;
  for (take::Note& note : take.notes) {
    note.state = take::State::confirmed;
    note.confidence = 1.0;
  }
  const std::string confirmed = render_summary(take);
  EXPECT_NE(confirmed.find("Notes     16, 16 confirmed\nDoubts    none\n"), std::string::npos);
  EXPECT_EQ(confirmed.find("Expected"), std::string::npos);
}

TEST(Summary, places_are_on_the_beat_or_in_tenths_of_it) {
  example::TakeMaker maker(120.0, 4, 2.0);
  maker.bars(2, 1).note(0, 1, "E1");
  const take::Take take = maker.done();
  EXPECT_EQ(place_text(take, maker.samples(4.05)), "b2:1");
  EXPECT_EQ(place_text(take, maker.samples(3.95)), "b2:1");
  EXPECT_EQ(place_text(take, maker.samples(2.64)), "b1:3.6");
  EXPECT_EQ(place_text(take, maker.samples(-1.0)), "b0:4");
  EXPECT_EQ(place_text(take::Take{}, 48000 * 61), "1:01.000");
}

}  // namespace
}  // namespace lowstride::sheet
