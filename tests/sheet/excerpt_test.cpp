#include "src/sheet/excerpt.hpp"

#include <algorithm>

#include <gtest/gtest.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/chord_grids.hpp"
#include "src/sheet/export.hpp"
#include "src/take/validate.hpp"
#include "tests/sheet/arranged_takes.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

LayoutOptions bars(int first, int last) {
  LayoutOptions options;
  options.first_bar = first;
  options.last_bar = last;
  return options;
}

std::vector<int> pitches(const take::Take& take) {
  std::vector<int> all;
  for (const take::Note& note : take.notes) all.push_back(note.midi);
  return all;
}

TEST(Excerpt, has_the_notes_that_the_sheet_writes_in_its_bars) {
  const take::Take walk = example::walk();
  const auto part = excerpt(walk, bars(3, 3));
  ASSERT_TRUE(part) << part.error().message;
  EXPECT_TRUE(take::check_take(*part));
  // Bar 3: B flat, the triplet A G F, D, a dead D, and the G that is held over into bar 4.
  EXPECT_EQ(pitches(*part), (std::vector<int>{46, 45, 43, 41, 38, 38, 43}));
  EXPECT_EQ(part->notes.front().onset_samples, walk.notes[9].onset_samples);
  EXPECT_EQ(part->notes.back().offset_samples, walk.beats[12].time_samples);
  ASSERT_EQ(part->beats.size(), 4U);
  EXPECT_EQ(part->beats.front().bar, 3);
  ASSERT_EQ(part->chords.size(), 2U);

  // Bar 4 begins with what is held into it.
  const auto last = excerpt(walk, bars(4, 9));
  ASSERT_TRUE(last);
  EXPECT_EQ(pitches(*last), (std::vector<int>{43, 29, 33}));
  EXPECT_EQ(last->notes.front().onset_samples, walk.beats[12].time_samples);
  EXPECT_EQ(*excerpt(walk, {}), walk);
  EXPECT_FALSE(excerpt(walk, bars(40, 50)));
}

TEST(Excerpt, keeps_an_early_first_stroke_and_leaves_out_the_next_bars) {
  example::TakeMaker maker(120.0);
  maker.bars(3);
  for (int i = 0; i < 12; ++i) maker.note(i - 0.02, 0.9, i % 4 == 0 ? "C2" : "G1");
  const take::Take take = maker.done();
  const auto part = excerpt(take, bars(2, 2));
  ASSERT_TRUE(part);
  EXPECT_EQ(pitches(*part), (std::vector<int>{36, 31, 31, 31}));
  EXPECT_EQ(part->notes.front().onset_samples, take.notes[4].onset_samples);
  const take::Take begun = begun_at_once(*part);
  EXPECT_TRUE(take::check_take(begun));
  EXPECT_EQ(begun.beats.front().time_samples, 0);
  EXPECT_EQ(begun.notes.front().onset_samples, 0);
  EXPECT_EQ(begun.notes[1].onset_samples, take.notes[5].onset_samples - take.beats[4].time_samples);
}

TEST(Excerpt, of_an_arrangement_has_its_stabs) {
  const take::Take take = example::arranged(parts::Style::walking);
  const auto part = excerpt(take, bars(2, 3));
  ASSERT_TRUE(part);
  EXPECT_EQ(part->stabs.size(), 4U);
  EXPECT_EQ(part->stabs.front(), take.stabs[2]);
}

TEST(ChordGrids, show_each_shape_once_under_its_chord) {
  for (const parts::Style style : example::all_styles) {
    const take::Take take = example::arranged(style);
    const SheetLayout layout = lay_out(take);
    const auto grids = used_grids(take, layout, 100);
    std::size_t times = 0;
    for (std::size_t i = 0; i < grids.size(); ++i) {
      times += grids[i].times;
      EXPECT_FALSE(grids[i].name.empty());
      for (std::size_t k = 0; k < i; ++k) {
        const bool is_alike =
            std::ranges::equal(grids[k].positions, grids[i].positions,
                               [](const neck::Position& a, const neck::Position& b) {
                                 return a.string_number == b.string_number && a.fret == b.fret;
                               });
        EXPECT_FALSE(grids[k].name == grids[i].name && is_alike);
      }
    }
    EXPECT_EQ(times, take.stabs.size());
    // Of too many, the most used ones, still in order.
    const auto few = used_grids(take, layout, 2);
    EXPECT_EQ(few.size(), std::min<std::size_t>(2, grids.size()));
  }
  EXPECT_TRUE(used_grids(example::walk(), lay_out(example::walk()), 100).empty());
}

// The open C of every chord book: x 3 2 0 1 0 from the lowest string, third, second, first finger.
TEST(ChordGrids, are_drawn_as_chord_books_draw_them) {
  const auto measure = [](const std::string& text, const TextStyle& style) {
    return 0.5 * style.size_pt * static_cast<double>(text.size());
  };
  const neck::Neck guitar = *neck::find_neck("guitar");
  const ChordGrid open_c{"C", {{5, 3, 3}, {4, 2, 2}, {3, 0, 0}, {2, 1, 1}, {1, 0, 0}}};
  std::vector<std::pair<double, std::string>> signs;  // over and under the strings, by place
  int dots = 0;
  for (const Mark& mark : chord_grid_marks(open_c, guitar, measure)) {
    if (const auto* text = std::get_if<TextMark>(&mark)) {
      if (text->text != "C") signs.emplace_back(text->place.x, text->text);
    }
    dots += std::holds_alternative<ShapeMark>(mark) ? 1 : 0;
  }
  std::ranges::stable_sort(signs, {}, &std::pair<double, std::string>::first);
  std::string row;
  for (const auto& [x, sign] : signs) row += sign;
  EXPECT_EQ(row, "x32o1o");
  EXPECT_EQ(dots, 3);
  // Higher up the number of the first fret stands at the side, and a barre is a line.
  const ChordGrid barre{"A", {{4, 7, 3}, {3, 6, 2}, {2, 5, 1}, {1, 5, 1}}};
  bool has_number = false;
  bool has_barre = false;
  for (const Mark& mark : chord_grid_marks(barre, guitar, measure)) {
    const auto* text = std::get_if<TextMark>(&mark);
    has_number = has_number || (text != nullptr && text->text == "5");
    const auto* line = std::get_if<LineMark>(&mark);
    has_barre = has_barre || (line != nullptr && line->width_pt > 3.0);
  }
  EXPECT_TRUE(has_number);
  EXPECT_TRUE(has_barre);
}

}  // namespace
}  // namespace lowstride::sheet
