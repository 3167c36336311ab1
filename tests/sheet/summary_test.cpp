#include "src/sheet/summary.hpp"

#include <gtest/gtest.h>

#include "src/sheet/form_text.hpp"
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

/// Turns of eight bars, the last with an ending of its own, and the first beat of one more bar.
take::Take turning(int beats_per_bar, int turns) {
  example::TakeMaker maker(120.0, beats_per_bar);
  const int last = 8 * turns;
  maker.bars(last + 1);
  std::erase_if(maker.take().beats,
                [last](const take::Beat& beat) { return beat.bar == last + 1 && beat.beat > 1; });
  const auto bar = [&](int number) { return number * beats_per_bar; };
  for (int i = 0; i < last; i += 8) {
    maker.chord(bar(i), bar(i + 1), "Cm7").chord(bar(i + 1), bar(i + 1) + 2, "Cm7");
    maker.chord(bar(i + 1) + 2, bar(i + 4), "Gm7").chord(bar(i + 4), bar(i + 6), "Am7b5");
    maker.chord(bar(i + 6), bar(i + 7), "D7");
    maker.chord(bar(i + 7), bar(i + 8), i + 8 < last ? "D7" : "G7");
  }
  maker.chord(bar(last), bar(last) + 1, "Ebmaj7");
  take::Take take = maker.done();
  take.key = take::Key{7, true, take::State::proposed, 0.8};
  return take;
}

// "%" is the whole bar before once more (common practice): not after two chords, where one follows.
TEST(Summary, a_bar_is_repeated_only_as_a_whole) {
  EXPECT_EQ(form_numerals(turning(4, 4)),
            "| iv7    | iv7 i7 | i7     | %      |\n"
            "| ii7b5  | %      | V7     | %      |\n");
}

// In three, too, and with a last bar that breaks off.
TEST(Summary, a_cycle_in_three_has_its_numerals) {
  EXPECT_EQ(form_numerals(turning(3, 2)).substr(0, 7), "| iv7  ");
}

// The first chord of a blues is its tonic, until somebody says otherwise.
TEST(Summary, numerals_follow_a_key_that_was_said) {
  example::TakeMaker maker(120.0);
  maker.bars(24);
  for (int bar = 0; bar < 24; bar += 12) {
    const auto add = [&](int from, int to, const char* label) {
      maker.chord(4 * (bar + from), 4 * (bar + to), label);
    };
    add(0, 4, "G7");
    add(4, 6, "C7");
    add(6, 8, "G7");
    add(8, 9, "D7");
    add(9, 10, "C7");
    add(10, 12, "G7");
  }
  take::Take take = maker.done();
  take.key = take::Key{5, false, take::State::proposed, 0.5};
  EXPECT_EQ(form_numerals(take).substr(0, 5), "| I7 ");
  take.key->state = take::State::confirmed;
  EXPECT_EQ(form_numerals(take).substr(0, 6), "| II7 ");
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
