#include "src/sheet/layout.hpp"

#include <random>

#include <gtest/gtest.h>

#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

/// Notes and rests of every bar add up to its beats: nothing overlaps, nothing sticks out.
void expect_full_bars(const take::Take& take, const SheetLayout& layout) {
  std::vector<int> pieces(take.notes.size(), 0);
  for (const SheetBar& bar : layout.bars) {
    ASSERT_EQ(bar.beat_samples.size(), static_cast<std::size_t>(bar.beat_count) + 1);
    ASSERT_EQ(bar.divisions.size(), static_cast<std::size_t>(bar.beat_count));
    int reached = 0;
    for (const SheetNote& note : bar.notes) {
      EXPECT_GE(note.onset_tatums, reached);
      EXPECT_GT(note.length_tatums, 0);
      reached = note.onset_tatums + note.length_tatums;
      if (!note.is_tied_from_previous) ++pieces[note.note_index];
    }
    EXPECT_LE(reached, bar.length_tatums());
  }
  for (const std::size_t index : layout.unbarred) ++pieces[index];
  for (const std::size_t index : layout.crowded) ++pieces[index];
  for (std::size_t i = 0; i < pieces.size(); ++i) EXPECT_EQ(pieces[i], 1) << "note " << i;
}

TEST(Layout, a_walk_is_written_in_quarters_with_its_ornaments) {
  const take::Take take = example::walk();
  const SheetLayout layout = lay_out(take);
  expect_full_bars(take, layout);
  ASSERT_EQ(layout.bars.size(), 4U);
  EXPECT_EQ(layout.swing_ratio, 2.0);
  EXPECT_NEAR(*layout.tempo_bpm, 120.0, 1e-6);
  const auto onsets = [&](std::size_t bar) {
    std::vector<int> tatums;
    for (const SheetNote& note : layout.bars[bar].notes) tatums.push_back(note.onset_tatums);
    return tatums;
  };
  EXPECT_EQ(onsets(0), (std::vector<int>{0, 12, 24, 30, 36}));
  EXPECT_EQ(onsets(1), (std::vector<int>{0, 12, 24, 36}));
  EXPECT_EQ(onsets(2), (std::vector<int>{0, 12, 16, 20, 24, 30, 36}));
  EXPECT_EQ(onsets(3), (std::vector<int>{0, 24, 36}));
  EXPECT_TRUE(layout.bars[2].notes.back().is_tied_to_next);
  EXPECT_TRUE(layout.bars[3].notes.front().is_tied_from_previous);
  EXPECT_EQ(layout.bars[3].notes.front().length_tatums, 24);
  EXPECT_TRUE(layout.bars[1].notes[2].is_doubt);
  EXPECT_TRUE(layout.bars[2].notes[5].is_dead);
}

// Off-beats at 0.64 of their beats are 0.64 : 0.36 = 1.8 : 1; the take itself says nothing of
// swing.
TEST(Layout, a_line_that_swings_is_written_in_halves_without_being_told) {
  const auto line = [](double off_beat) {
    TakeMaker maker(130.0);
    maker.bars(2);
    for (int beat = 0; beat < 8; ++beat) {
      maker.note(beat, 0.5, "E1");
      if (beat % 2 == 1) maker.note(beat + off_beat, 0.3, "G1");
    }
    return lay_out(maker.done());
  };
  const SheetLayout swung = line(0.64);
  ASSERT_TRUE(swung.swing_ratio);
  EXPECT_NEAR(*swung.swing_ratio, 1.78, 0.05);
  EXPECT_EQ(swung.bars[0].divisions[1], Division::halves);
  EXPECT_EQ(swung.bars[0].notes[2].onset_tatums, 18);
  const SheetLayout even = line(0.5);
  EXPECT_FALSE(even.swing_ratio);
  EXPECT_EQ(even.bars[0].divisions[1], Division::halves);
}

TEST(Layout, chords_stand_on_their_beats_once) {
  const SheetLayout layout = lay_out(example::walk());
  ASSERT_EQ(layout.bars[2].chords.size(), 2U);
  EXPECT_EQ(layout.bars[2].chords[0].text, "Bb7");
  EXPECT_EQ(layout.bars[2].chords[1].onset_tatums, 24);
  EXPECT_TRUE(layout.bars[3].chords[1].is_doubt);
  TakeMaker same(120.0);
  same.bars(2).chord(0, 4, "F7").chord(4, 8, "F7").note(0, 1, "F1").note(4, 1, "F1");
  const SheetLayout once = lay_out(same.done());
  EXPECT_EQ(once.bars[0].chords.size(), 1U);
  EXPECT_TRUE(once.bars[1].chords.empty());
}

TEST(Layout, silence_of_more_than_half_a_beat_is_a_rest) {
  TakeMaker maker(120.0);
  maker.bars(2);
  maker.note(0, 0.6, "E1").note(1, 1.0, "G1").note(4, 3.9, "A1");
  const SheetLayout layout = lay_out(maker.done());
  const auto& notes = layout.bars[0].notes;
  ASSERT_EQ(notes.size(), 2U);
  EXPECT_EQ(notes[0].length_tatums, 12);  // 0.4 of a beat of silence is a short quarter
  EXPECT_EQ(notes[1].length_tatums, 12);  // two beats of silence are a rest
  EXPECT_EQ(layout.bars[1].notes[0].length_tatums, 48);
}

TEST(Layout, a_pickup_begins_on_its_first_note_and_a_count_in_is_left_out) {
  TakeMaker maker(100.0, 4, 4.0);
  maker.bars(2, 4);
  maker.note(-1, 0.9, "F1").note(0, 0.9, "Bb1").note(4, 0.9, "Bb1");
  const SheetLayout pickup = lay_out(maker.done());
  ASSERT_EQ(pickup.bars.size(), 3U);
  EXPECT_EQ(pickup.bars[0].number, 0);
  EXPECT_EQ(pickup.bars[0].first_beat, 4);
  EXPECT_EQ(pickup.bars[0].beat_count, 1);
  EXPECT_EQ(pickup.bars[0].notes[0].onset_tatums, 0);
  TakeMaker counted(100.0, 4, 4.0);
  counted.bars(1, 4).chord(-4, 4, "Bb7").note(0, 0.9, "Bb1");
  const SheetLayout count_in = lay_out(counted.done());
  ASSERT_EQ(count_in.bars.size(), 1U);
  EXPECT_EQ(count_in.bars[0].number, 1);
  ASSERT_EQ(count_in.bars[0].chords.size(), 1U);
}

TEST(Layout, the_grid_is_continued_to_hold_notes_beyond_it) {
  TakeMaker maker(120.0, 4, 4.0);
  maker.bars(1);
  maker.note(-2, 0.9, "F1").note(0, 0.9, "Bb1").note(5, 0.9, "D2");
  const take::Take take = maker.done();
  const SheetLayout layout = lay_out(take);
  expect_full_bars(take, layout);
  ASSERT_EQ(layout.bars.size(), 3U);
  EXPECT_EQ(layout.bars[0].first_beat, 3);
  EXPECT_EQ(layout.bars[2].notes[0].onset_tatums, 12);
  EXPECT_TRUE(layout.unbarred.empty());
}

TEST(Layout, notes_far_from_the_grid_are_listed) {
  TakeMaker maker(240.0, 4, 60.0);
  maker.bars(2).note(-200, 0.9, "F1").note(0, 0.9, "Bb1");
  const take::Take take = maker.done();
  const SheetLayout layout = lay_out(take);
  expect_full_bars(take, layout);
  EXPECT_EQ(layout.unbarred, std::vector<std::size_t>{0});
}

TEST(Layout, an_early_stroke_before_a_note_on_the_beat_stays_before_it) {
  TakeMaker maker(120.0);
  maker.bars(1).note(0, 0.8, "E1").dead(0.9, "E1").note(1, 0.9, "A1");
  const SheetLayout layout = lay_out(maker.done());
  ASSERT_EQ(layout.bars[0].notes.size(), 3U);
  EXPECT_LT(layout.bars[0].notes[1].onset_tatums, 12);
  EXPECT_EQ(layout.bars[0].notes[2].onset_tatums, 12);
}

TEST(Layout, a_range_keeps_its_bars_and_the_chord_in_force) {
  LayoutOptions options;
  options.first_bar = 2;
  options.last_bar = 3;
  const SheetLayout bars = lay_out(example::walk(), options);
  ASSERT_EQ(bars.bars.size(), 2U);
  EXPECT_EQ(bars.bars[0].number, 2);
  TakeMaker long_chord(120.0);
  long_chord.bars(3).chord(0, 12, "Gm7").note(0, 1, "G1").note(8, 1, "G1");
  options.first_bar = 3;
  const SheetLayout third = lay_out(long_chord.done(), options);
  ASSERT_EQ(third.bars.size(), 1U);
  ASSERT_EQ(third.bars[0].chords.size(), 1U);
  EXPECT_EQ(third.bars[0].chords[0].text, "Gm7");
}

TEST(Layout, without_a_grid_every_note_is_listed) {
  TakeMaker maker(120.0);
  maker.note(0, 1, "E1").note(1, 1, "G1");
  const SheetLayout layout = lay_out(maker.done());
  EXPECT_TRUE(layout.bars.empty());
  EXPECT_EQ(layout.unbarred.size(), 2U);
  EXPECT_FALSE(layout.tempo_bpm);
  EXPECT_TRUE(lay_out(take::Take{}).bars.empty());
}

TEST(Layout, bars_are_full_for_any_line_over_any_grid) {
  constexpr unsigned seed = 31;
  std::mt19937 random(seed);
  for (int i = 0; i < 200; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", line " + std::to_string(i));
    std::uniform_real_distribution<double> bpm(40.0, 320.0);
    std::uniform_real_distribution<double> step(0.02, 1.7);
    TakeMaker maker(bpm(random), i % 2 == 0 ? 4 : 3, 6.0);
    maker.bars(5, i % 4);
    if (i % 3 == 0) maker.take().swing_ratio = 1.0 + 0.01 * (i % 150);
    double beat = -3.0;
    while (beat < 18.0) {
      const double length = step(random);
      maker.note(beat, 0.8 * length, "A1");
      beat += length;
    }
    // A beat that a person moved, and one taken away.
    auto& beats = maker.take().beats;
    beats.erase(beats.begin() + static_cast<std::ptrdiff_t>(beats.size() / 2));
    beats[3].time_samples += 3000;
    const take::Take take = maker.done();
    expect_full_bars(take, lay_out(take));
  }
}

}  // namespace
}  // namespace lowstride::sheet
