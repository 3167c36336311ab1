#include "src/parts/levels.hpp"

#include <algorithm>

#include <gtest/gtest.h>

#include "src/sheet/layout.hpp"
#include "src/take/edit.hpp"
#include "src/take/harmony.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"
#include "tests/parts/charts.hpp"

namespace lowstride::parts {
namespace {

using testing_help::chart_take;

take::Take blues_start() {
  take::Take take =
      chart_take({{"G7"}, {"C7"}, {"G7"}, {"Dm7", "G7"}},
                 {31, 35, 38, 40, 36, 40, 43, 42, 43, 41, 38, 36, 38, 36, 31, std::nullopt},
                 theory::Key{7, false});
  take.passages.push_back(
      {take::PassageId{take.next_id++}, "turn", 44'100 / 2 * 9, 44'100 / 2 * 17, {}});
  return take;
}

TEST(Levels, are_whole_takes_that_can_be_saved_edited_and_fingered) {
  const take::Take take = blues_start();
  ASSERT_TRUE(take::check_take(take)) << take::check_take(take).error().message;
  for (const Level level : all_levels) {
    SCOPED_TRACE(level_name(level));
    auto part = level_take(take, level);
    ASSERT_TRUE(part) << part.error().message;
    ASSERT_TRUE(take::check_take(*part)) << take::check_take(*part).error().message;
    EXPECT_FALSE(part->recording);
    EXPECT_EQ(part->time_base_hz, 48'000);
    EXPECT_EQ(*take::take_from_json(take::take_to_json(*part), "part"), *part);
    EXPECT_EQ(part->passages.size(), 1U);
    EXPECT_FALSE(part->notes.empty());
    for (const take::Note& note : part->notes) EXPECT_TRUE(note.position);
    EXPECT_TRUE(take::apply(*part, take::ReplaceNote{.id = part->notes[0].id, .midi = 33}));
    EXPECT_EQ(*level_take(take, level), *level_take(take, level));
  }
}

// A first line lies in the first position (common practice of method books), a chosen hand stays.
TEST(Levels, the_first_ones_lie_low_and_do_not_leap) {
  // A line that climbs an octave on its way to the second chord.
  take::Take take = chart_take({{"C7"}, {"C#dim7"}, {"C7"}, {"Dm7"}},
                               {36, 40, 43, 48, 49, 52, 55, 52, 48, 43, 40, 36, 38, 41, 45, 38},
                               theory::Key{0, false});
  for (const Level level : {Level::roots, Level::walk_ups, Level::root_fifth}) {
    SCOPED_TRACE(level_name(level));
    const auto part = level_take(take, level);
    ASSERT_TRUE(part);
    for (std::size_t i = 0; i < part->notes.size(); ++i) {
      EXPECT_LE(part->notes[i].position->fret, 5) << i;
      const int before = part->notes[i > 0 ? i - 1 : 0].midi;
      const int most = level == Level::root_fifth ? 12 : 9;  // from a low fifth to the root
      EXPECT_LE(std::abs(part->notes[i].midi - before), most) << i;
    }
  }
  take.fingering.position_fret = 7;
  EXPECT_EQ(level_take(take, Level::roots)->fingering.position_fret, 7);
}

TEST(Levels, stand_on_the_beats_of_the_take_or_on_steady_ones) {
  const take::Take take = blues_start();
  const auto as_played = level_take(take, Level::roots);
  ASSERT_EQ(as_played->beats.size(), take.beats.size());
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    // A beat lasts half a second: 22,050 samples of the take, 24,000 of the level.
    EXPECT_EQ(as_played->beats[i].time_samples, static_cast<std::int64_t>(i + 1) * 24'000);
    EXPECT_EQ(as_played->beats[i].bar, take.beats[i].bar);
  }
  const auto steady = level_take(take, Level::roots, {.tempo_bpm = 60.0});
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    EXPECT_EQ(steady->beats[i].time_samples, static_cast<std::int64_t>(i) * 48'000);
  }
  EXPECT_EQ(steady->chords[1].begin_samples, 4 * 48'000);
  EXPECT_EQ(steady->notes[1].onset_samples, 4 * 48'000);
  EXPECT_EQ(steady->passages[0].begin_samples, 8 * 48'000);
}

// Each bar is full on the sheet: what the layout counts as notes lies on the beats.
TEST(Levels, have_full_bars_and_the_chords_over_them) {
  const take::Take take = blues_start();
  const auto part = level_take(take, Level::root_fifth);
  const sheet::SheetLayout layout = sheet::lay_out(*part);
  ASSERT_EQ(layout.bars.size(), 4U);
  for (const sheet::SheetBar& bar : layout.bars) {
    int tatums = 0;
    for (const sheet::SheetNote& note : bar.notes) tatums += note.length_tatums;
    EXPECT_EQ(tatums, bar.length_tatums()) << bar.number;
  }
  EXPECT_EQ(layout.bars[3].chords.size(), 2U);
  EXPECT_EQ(layout.bars[3].chords[1].onset_tatums, 2 * sheet::tatums_per_beat);
  const auto roles = take::roles_of(*part);
  EXPECT_EQ(roles[0]->role, theory::Role::root);
  EXPECT_EQ(roles[1]->role, theory::Role::fifth);
}

TEST(Levels, the_whole_line_is_the_line) {
  const take::Take take = blues_start();
  const auto part = level_take(take, Level::whole_line);
  ASSERT_EQ(part->notes.size(), take.notes.size());
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    EXPECT_EQ(part->notes[i].midi, take.notes[i].midi);
    EXPECT_EQ(part->notes[i].state, take.notes[i].state);
    EXPECT_EQ(part->notes[i].onset_samples, take.notes[i].onset_samples * 480 / 441);
  }
}

TEST(Levels, of_a_raised_line_fit_the_hand_that_plays_it) {
  take::Take take = blues_start();
  ASSERT_TRUE(
      take::apply(take, take::SetNeck{.neck = {"guitar", {40, 45, 50, 55, 59, 64}, 0, 22, 648.0},
                                      .octave_shift = 1}));
  for (const Level level : all_levels) {
    const auto part = level_take(take, level);
    ASSERT_TRUE(part);
    EXPECT_EQ(part->octave_shift, 1);
    for (const take::Note& note : part->notes) EXPECT_TRUE(note.position);
  }
}

TEST(Levels, need_beats_chords_and_a_tempo_that_can_be) {
  take::Take bare = blues_start();
  bare.beats.clear();
  ASSERT_FALSE(level_take(bare, Level::roots));
  EXPECT_NE(level_take(bare, Level::roots).error().message.find("--add-beat"), std::string::npos);
  bare = blues_start();
  bare.chords.clear();
  EXPECT_NE(level_take(bare, Level::roots).error().message.find("--set-chord"), std::string::npos);
  EXPECT_FALSE(level_take(blues_start(), Level::roots, {.tempo_bpm = 0.0}));
  take::Take tiny = blues_start();
  ASSERT_TRUE(take::apply(tiny, take::SetNeck{.neck = {"one", {28}, 0, 5, 864.0}}));
  EXPECT_FALSE(level_take(tiny, Level::roots));
  EXPECT_FALSE(level_from_number(0));
  EXPECT_FALSE(level_from_number(7));
  EXPECT_EQ(level_from_number(3), Level::root_fifth);
}

}  // namespace
}  // namespace lowstride::parts
