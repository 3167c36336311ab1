#include "src/sheet/text_tab.hpp"

#include <random>
#include <sstream>

#include <gtest/gtest.h>

#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

// Frets by hand: on E1 A1 D2 G2, B flat 1 is the A string's first fret, D2 the open D string, F2
// its third fret, and so on; the note in doubt is the third beat of bar 2.
TEST(TextTab, a_walk) {
  EXPECT_EQ(render_text_tab(example::walk()), R"(Cellar Stairs
120 bpm, 4/4, swing 2.0 : 1, key of Bb

 1                     2                     3                      4
   Bb7                   Eb7                   Bb7        G7          Cm7       F7?
G|---------------------|------0----3----2----|-3----2-0--------0----|-(0)-----------------|
D|------0----3--3-0----|-1-------------------|----------3-0--x------|---------------------|
A|-1-------------------|---------------------|----------------------|----------------0----|
E|---------------------|---------------------|----------------------|-----------1---------|
   1    2    3  & 4      1    2    3    4      1    2 t l 3  & 4      1    2    3    4
                                   ?

x dead note   ( ) held over   ? in doubt
Swung: the two halves of a beat (1 &) are played long and short, 2.0 : 1.
Triplets are counted 1 t l (one trip-let).
)");
}

TEST(TextTab, a_pickup_a_drop_tuning_and_a_note_off_the_neck) {
  TakeMaker maker(96.0, 3, 4.0);
  maker.take().title = "Low Gate";
  maker.take().neck = *neck::find_neck("bass-drop-d");
  maker.take().neck.fret_count = 12;
  maker.bars(4, 1);
  maker.chord(-1, 3, "Dm").chord(3, 6, "F#m7b5").chord(6, 9, "Gm/Bb").chord(9, 12, "A7");
  maker.note(-1, 0.9, "A1").note(0, 0.9, "D1").note(1, 0.9, "F1").note(2, 0.9, "A1");
  maker.note(3, 0.9, "F#1").note(4, 0.9, "C3").note(5, 0.9, "E4").note(6, 2.9, "Bb1");
  maker.note(9, 0.9, "A1").note(10, 1.9, "G1");
  EXPECT_EQ(render_text_tab(maker.done()), R"(Low Gate
96 bpm, 3/4
Tuning D1 A1 D2 G2 (low to high).

         1                   2                   3                   4
   Dm                          F#m7b5              Gm/Bb               A7
G|-------|-------------------|-------5-----*-----|-------------------|-------------------|
D|-------|-------------------|-------------------|-------------------|-------------------|
A|-0-----|-------------0-----|-------------------|-1-----------------|-0-----------------|
D|-------|-0-----3-----------|-4-----------------|-------------------|-------5-----------|
   3       1     2     3       1     2     3       1     2     3       1     2     3

* not on this neck: E4 at b2:3
)");
}

TEST(TextTab, without_a_grid_a_list_by_time) {
  TakeMaker maker(120.0);
  maker.note(0, 1, "E1").note(3, 1, "Bb1", 0.5).dead(140, "A1");
  EXPECT_EQ(render_text_tab(maker.done()), R"(No beats were found, so the notes are listed by time.

      time  string  fret  note
  0:00.500  E          0  E1
  0:02.000  A          1  Bb1 ?
  1:10.500  A          x  A1

? in doubt
)");
}

TEST(TextTab, nothing_found_is_said) {
  EXPECT_EQ(render_text_tab(take::Take{}), "No notes were found.\n");
}

// Signs by hand: over Bb7, Bb D F are root, third and fifth, and the F struck again is repeated.
TEST(TextTab, roles_stand_under_the_counts_on_request) {
  TextTabOptions options;
  options.has_roles = true;
  options.has_heading = false;
  options.layout.last_bar = 1;
  EXPECT_EQ(render_text_tab(example::walk(), options), R"( 1
   Bb7
G|---------------------|
D|------0----3--3-0----|
A|-1-------------------|
E|---------------------|
   1    2    3  & 4
   R    3    5  = 3

Swung: the two halves of a beat (1 &) are played long and short, 2.0 : 1.
Under the counts: R root, 3 third, 5 fifth, = repeated.
)");
}

// A flat sign takes three bytes and one column.
TEST(TextTab, what_a_person_typed_keeps_its_columns) {
  TakeMaker maker(120.0);
  maker.bars(2).note(0, 4, "Bb1").note(4, 4, "Eb2").chord(0, 4, "Bb7").chord(4, 8, "Eb7");
  take::Take take = maker.done();
  take.chords[0].written =
      "B\xE2\x99\xAD"
      "13";
  take.passages.push_back(
      {take::PassageId{90}, "t\xC3\xAAte", maker.samples(0.1), maker.samples(4)});
  TextTabOptions options;
  options.has_heading = false;
  const std::string text = render_text_tab(take, options);
  EXPECT_NE(text.find(" 1 [t\xC3\xAAte]              2\n"
                      "   B\xE2\x99\xAD"
                      "13                  Eb7\n"),
            std::string::npos)
      << text;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

TEST(TextTab, keeps_to_its_width_and_breaks_in_fours) {
  TakeMaker maker(140.0);
  maker.bars(16);
  for (int i = 0; i < 64; ++i) maker.note(i, 0.9, i % 2 == 0 ? "E2" : "Bb2");
  const take::Take take = maker.done();
  const auto bar_lines = [&](int width) {
    TextTabOptions options;
    options.width_columns = width;
    std::size_t bars = 0;
    for (const std::string& line : lines_of(render_text_tab(take, options))) {
      EXPECT_LE(line.size(), static_cast<std::size_t>(width));
      if (line.starts_with("G|") && bars == 0) {
        bars = static_cast<std::size_t>(std::count(line.begin(), line.end(), '|')) - 1;
      }
    }
    return bars;
  };
  EXPECT_EQ(bar_lines(100), 4U);
  EXPECT_EQ(bar_lines(80), 4U);
  EXPECT_EQ(bar_lines(64), 2U);
  EXPECT_EQ(bar_lines(40), 2U);
  EXPECT_EQ(bar_lines(200), 8U);
}

/// Reads the frets back from the printed tab: every note stands on its string, no two run together,
/// and the strings of a system are equally long.
TEST(TextTab, every_note_can_be_read_back_for_any_line) {
  constexpr unsigned seed = 8;
  std::mt19937 random(seed);
  for (int i = 0; i < 60; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", line " + std::to_string(i));
    TakeMaker maker(100.0 + i, i % 3 == 0 ? 3 : 4, 3.0);
    maker.bars(6, i % 3);
    std::uniform_int_distribution<int> pitch(28, 60);
    std::uniform_int_distribution<int> length(1, 6);
    double beat = -(i % 3);
    while (beat < 17.0) {
      const double step = i % 2 == 0 ? length(random) / 4.0 : length(random) / 3.0;
      maker.note(beat, 0.95 * step, std::to_string(pitch(random)));
      beat += step;
    }
    const take::Take take = maker.done();
    TextTabOptions options;
    options.width_columns = 60 + i;
    std::vector<int> printed(4, 0);
    std::size_t width = 0;
    for (const std::string& line : lines_of(render_text_tab(take, options))) {
      const auto row = std::string("GDAE").find(line.substr(0, 1));
      if (line.size() < 2 || line[1] != '|' || row == std::string::npos) {
        width = 0;
        continue;
      }
      if (width == 0) width = line.size();
      EXPECT_EQ(line.size(), width);
      std::string digits;
      for (std::size_t column = 2; column < line.size(); ++column) {
        const char sign = line[column];
        if (std::isdigit(static_cast<unsigned char>(sign)) != 0) {
          digits += sign;
          continue;
        }
        if (!digits.empty() && sign != ')') {
          EXPECT_LE(std::stoi(digits), 20);
          ++printed[row];
        }
        digits.clear();
      }
    }
    std::vector<int> expected(4, 0);
    for (const take::Note& note : take.notes) {
      ++expected[static_cast<std::size_t>(note.position->string_number - 1)];
    }
    EXPECT_EQ(printed, expected);
  }
}

}  // namespace
}  // namespace lowstride::sheet
