#include "gui/layout/lanes.hpp"

#include <gmock/gmock.h>

#include "tests/sheet/example_takes.hpp"

namespace lowstride::desk {
namespace {

constexpr Rect area{0.0F, 0.0F, 1000.0F, 400.0F};

DeskState state_for(const take::Take& take, double begin_beats, double beats) {
  DeskState state;
  state.axis.left_px = lane_heading_width;
  state.axis.width_px = area.width() - lane_heading_width;
  // The example's beats are half a second long and begin at half a second.
  state.axis.begin_samples = 24000.0 + begin_beats * 24000.0;
  state.axis.samples_per_px = beats * 24000.0 / state.axis.width_px;
  static_cast<void>(take);
  return state;
}

TEST(TimeAxis, zoom_keeps_the_time_under_the_pointer) {
  TimeAxis axis{
      .begin_samples = 1e7, .samples_per_px = 100.0, .left_px = 80.0F, .width_px = 900.0F};
  for (const double factor : {0.5, 0.01, 3.0}) {
    const float px = 433.0F;
    const TimeAxis out = zoomed(axis, factor, px, 48000LL * 3600);
    EXPECT_NEAR(out.sample(px), axis.sample(px), 1e-6) << factor;
    EXPECT_NEAR(out.samples_per_px, axis.samples_per_px * factor, 1e-9);
  }
}

TEST(TimeAxis, both_ends_of_the_zoom_hold) {
  TimeAxis axis{
      .begin_samples = 0.0, .samples_per_px = 100.0, .left_px = 0.0F, .width_px = 1000.0F};
  const std::int64_t hour = 48000LL * 3600;
  const TimeAxis out = zoomed(axis, 1e9, 500.0F, hour);
  EXPECT_LE(out.begin_samples, 0.0);
  EXPECT_GE(out.end_samples(), static_cast<double>(hour));
  const TimeAxis in = zoomed(axis, 1e-9, 500.0F, hour);
  EXPECT_DOUBLE_EQ(in.samples_per_px, least_samples_per_px());
  const TimeAxis far = moved(axis, 1e12, hour);
  EXPECT_LE(far.begin_samples, static_cast<double>(hour));
  EXPECT_GE(moved(axis, -1e12, hour).begin_samples, -0.05 * 100.0 * 1000.0);
}

TEST(Lanes, numbers_stand_on_their_strings_at_their_onsets) {
  const take::Take take = sheet::example::walk();
  const DeskState state = state_for(take, -0.5, 10.0);
  const LaneLayout layout = lay_out(take, digest_of(take, 0.8), state, area, 1.0F);
  ASSERT_EQ(layout.string_ys.size(), 4U);
  ASSERT_GE(layout.notes.size(), 8U);
  for (const NoteBox& box : layout.notes) {
    const take::Note& note = take.notes[box.index];
    EXPECT_NEAR(box.chip.x0, layout.axis.px(static_cast<double>(note.onset_samples)), 0.51F);
    EXPECT_NEAR(box.sound.x1, layout.axis.px(static_cast<double>(note.offset_samples)), 0.51F);
    ASSERT_TRUE(note.position);
    EXPECT_NEAR(box.chip.middle_y(),
                layout.string_ys[static_cast<std::size_t>(note.position->string_number - 1)], 1.0F);
    EXPECT_EQ(box.text, note.is_dead ? "x" : std::to_string(note.position->fret));
  }
  // G string on top.
  EXPECT_LT(layout.string_ys.front(), layout.string_ys.back());
}

TEST(Lanes, doubt_and_confirmation_show) {
  take::Take take = sheet::example::walk();
  take.notes[0].state = take::State::confirmed;
  const LaneLayout layout =
      lay_out(take, digest_of(take, 0.8), state_for(take, -0.5, 10.0), area, 1.0F);
  EXPECT_TRUE(layout.notes[0].is_confirmed);
  EXPECT_FALSE(layout.notes[1].is_doubt);
  // Bb2 on the third beat of bar 2 has a confidence of 0.45.
  EXPECT_TRUE(layout.notes[7].is_doubt);
}

TEST(Lanes, counts_say_the_beats_and_the_syllables_between) {
  const take::Take take = sheet::example::walk();
  const LaneLayout layout =
      lay_out(take, digest_of(take, 0.8), state_for(take, -0.2, 4.5), area, 1.0F);
  std::vector<std::string> texts;
  for (const Label& count : layout.counts) texts.push_back(count.text);
  EXPECT_THAT(texts, testing::IsSupersetOf({"1", "2", "3", "4", "&"}));
}

TEST(Lanes, far_out_notes_fold_into_marks_and_none_is_lost_from_sight) {
  sheet::example::TakeMaker maker(480.0);
  maker.bars(2000);
  for (int i = 0; i < 8000; ++i)
    maker.note(i, 0.9, i % 2 == 0 ? "E1" : "A1", i == 5000 ? 0.3 : 0.95);
  const take::Take& take = maker.take();
  DeskState state;
  state.axis.left_px = lane_heading_width;
  state.axis.width_px = area.width() - lane_heading_width;
  state.axis =
      showing(state.axis, 0.0, static_cast<double>(take.length_samples), take.length_samples);
  const LaneLayout layout = lay_out(take, digest_of(take, 0.8), state, area, 1.0F);
  EXPECT_TRUE(layout.notes.empty());
  EXPECT_FALSE(layout.ticks.empty());
  EXPECT_LE(layout.ticks.size(), 4U * static_cast<std::size_t>(area.width()));
  EXPECT_TRUE(std::ranges::any_of(layout.ticks, &NoteTick::has_doubt))
      << "one doubt in 8,000 notes must not vanish";
  EXPECT_LE(layout.beats.size(), static_cast<std::size_t>(area.width()));
  EXPECT_LE(layout.bar_numbers.size(), 40U);
}

TEST(Lanes, what_is_under_the_hand) {
  const take::Take take = sheet::example::walk();
  const LaneLayout layout =
      lay_out(take, digest_of(take, 0.8), state_for(take, -0.5, 10.0), area, 1.0F);
  const NoteBox& note = layout.notes[1];
  const float y = note.chip.middle_y();
  const auto kind_at = [&](float x, float at_y) { return hit_test(layout, {x, at_y}).kind; };
  EXPECT_EQ(kind_at(note.chip.x0 + 6.0F, y), Hit::Kind::note);
  EXPECT_EQ(kind_at(note.chip.x0 - 1.0F, y), Hit::Kind::note_onset);
  EXPECT_EQ(kind_at(note.sound.x1 - 1.0F, y), Hit::Kind::note_end);
  const Hit beside = hit_test(layout, {note.chip.x0 + 3.0F, layout.string_ys[0]});
  EXPECT_EQ(beside.kind, Hit::Kind::strings);
  EXPECT_EQ(beside.string_number, 1);
  const ChordBox& chord = layout.chords[1];
  EXPECT_EQ(kind_at(chord.rect.x0 + 1.0F, chord.rect.middle_y()), Hit::Kind::chord_edge);
  EXPECT_EQ(kind_at(chord.rect.x0 + 30.0F, chord.rect.middle_y()), Hit::Kind::chord);
  const Rect& counts = layout.lane(LaneKind::counts)->rect;
  EXPECT_EQ(kind_at(layout.beats[2].x + 2.0F, counts.middle_y()), Hit::Kind::beat);
  EXPECT_EQ(kind_at(20.0F, counts.middle_y()), Hit::Kind::heading);
  EXPECT_EQ(hit_test(layout, {500.0F, 2000.0F}).kind, Hit::Kind::nothing);
}

TEST(Lanes, an_empty_take_lays_out_to_empty_lanes) {
  const take::Take take;
  DeskState state;
  const LaneLayout layout = lay_out(take, digest_of(take, 0.8), state, area, 1.0F);
  EXPECT_TRUE(layout.notes.empty());
  EXPECT_TRUE(layout.beats.empty());
  EXPECT_FALSE(layout.lanes.empty());
}

TEST(Digest, doubts_are_listed_by_place) {
  const take::Take take = sheet::example::walk();
  const Digest digest = digest_of(take, 0.8);
  ASSERT_EQ(digest.doubts.size(), 2U);
  EXPECT_EQ(digest.doubts[0].kind, Doubt::Kind::note);
  EXPECT_EQ(digest.doubts[1].kind, Doubt::Kind::chord);
  EXPECT_EQ(digest.doubtful_note_count, 1U);
  EXPECT_EQ(digest.bars.size(), 4U);
  EXPECT_EQ(digest.confirmed_share, 0.0);
}

// Eighths in every bar, six bars across a window of 1280 pixels, two digits each: what has no room
// is set smaller, and where that is too small it is a mark without a number.
TEST(Lanes, numbers_never_touch_the_next_one_on_their_string) {
  sheet::example::TakeMaker maker(120.0);
  maker.bars(12);
  for (int i = 0; i < 96; ++i) maker.note(i * 0.5, 0.45, i % 2 == 0 ? "B1" : "C2");
  take::Take take = maker.done();
  for (take::Note& note : take.notes) {
    note.position = neck::Position{4, note.midi - 28 + 5, 1};
  }
  for (const double bars : {2.0, 4.0, 6.0, 9.0}) {
    const DeskState state = state_for(take, 0.0, 4.0 * bars);
    const LaneLayout layout = lay_out(take, digest_of(take, 0.8), state, area, 1.0F);
    if (layout.notes.empty()) continue;  // ticks
    for (std::size_t i = 0; i + 1 < layout.notes.size(); ++i) {
      EXPECT_LE(layout.notes[i].chip.x1, layout.notes[i + 1].chip.x0) << bars << " bars";
      EXPECT_GE(layout.notes[i].number_px, 9.0F);
      if (bars == 2.0) {
        EXPECT_FALSE(layout.notes[i].text.empty());
      }
    }
  }
}

}  // namespace
}  // namespace lowstride::desk
