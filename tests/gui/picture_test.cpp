// What each lane paints, in pixels: draw data rasterised without a window. The pictures are kept to
// be looked at.
#include <gmock/gmock.h>

#include "src/take/proposals.hpp"
#include "tests/gui/desk_stage.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::desk {
namespace {

using testing_help::DeskStage;
using testing_help::Picture;
using testing_help::picture_folder;

class LanePicture : public testing::Test {
 protected:
  void SetUp() override {
    take::Take take = sheet::example::walk();
    take.notes[0].state = take::State::confirmed;
    take.notes[2].alternatives = {{take.notes[2].midi - 12, 0.3}, {take.notes[2].midi + 7, 0.1}};
    take.notes[2].confidence = 0.6;
    take.chords[0].state = take::State::confirmed;
    take.passages.push_back(
        {take::PassageId{take.next_id++}, "head", 24000, 24000 + 8 * 24000, {}});
    stage_.open(take);
    stage_.desk().state().axis = showing(stage_.desk().state().axis, 12000.0,
                                         12000.0 + 10 * 24000.0, stage_.take().length_samples);
    for (LaneSetting& lane : stage_.desk().state().lanes) {
      if (lane.kind == LaneKind::roles) lane.is_folded = false;
    }
    stage_.desk().state().select_only(stage_.take().notes[4].id);
    stage_.step(2);
    picture_ = stage_.picture();
    theme_ = &stage_.desk().theme();
  }
  const Rect& lane(LaneKind kind) { return stage_.desk().lanes().lane(kind)->rect; }
  const NoteBox& box(std::size_t index) {
    for (const NoteBox& note : stage_.desk().lanes().notes) {
      if (note.index == index) return note;
    }
    throw std::runtime_error("not in view");
  }

  DeskStage stage_;
  Picture picture_;
  const Theme* theme_ = nullptr;
};

TEST_F(LanePicture, whole_desk_is_kept_to_be_looked_at) {
  picture_.save(picture_folder() / "desk-dark.png");
  stage_.key("F10");
  stage_.step(2);
  stage_.picture().save(picture_folder() / "desk-light.png");
  EXPECT_NE(stage_.desk().theme().is_dark, theme_->is_dark);
}

TEST_F(LanePicture, strings) {
  // A note's number is written in the text's colour on its chip.
  for (const std::size_t index : {0UL, 1UL, 7UL}) {
    EXPECT_GT(picture_.count_near(box(index).chip, theme_->text, 40), 8) << index;
  }
  EXPECT_GT(picture_.count_near(box(0).chip, theme_->chip_confirmed, 6), 60);
  EXPECT_GT(picture_.count_near(box(7).chip, theme_->chip_doubt, 6), 60);
  EXPECT_GT(picture_.count_near(box(1).chip, theme_->chip, 6), 60);
  // The lowest string is the thickest.
  const float y = stage_.desk().lanes().string_ys.back();
  const Rect line{lane(LaneKind::strings).x0, y - 2.0F, lane(LaneKind::strings).x1, y + 2.0F};
  EXPECT_GT(picture_.count_near(line, theme_->string_line, 12), 300);
}

TEST_F(LanePicture, column_of_candidates) {
  const Rect chip = box(2).chip;
  const Rect column{chip.x0 - 6.0F, chip.y0, chip.x0 - 1.0F, chip.y1};
  EXPECT_GT(picture_.count_near(column, theme_->doubt, 20), 10);
  EXPECT_GT(picture_.count_near(column, theme_->alternative, 20), 5);
}

TEST_F(LanePicture, selection_is_ringed) {
  const Rect chip = box(4).chip;
  const Rect ring{chip.x0 - 4.0F, chip.y0 - 4.0F, chip.x1 + 4.0F, chip.y1 + 4.0F};
  EXPECT_GT(picture_.count_near(ring, theme_->selection, 40), 20);
}

TEST_F(LanePicture, chords) {
  const auto& chords = stage_.desk().lanes().chords;
  EXPECT_GT(picture_.count_near(chords[0].rect, theme_->text, 40), 30) << "Bb7 is written";
  EXPECT_GT(picture_.count_near(chords[0].rect, theme_->confirmed, 12), 30);
  EXPECT_GT(picture_.count_near(chords[1].rect, theme_->proposed, 12), 30);
}

TEST_F(LanePicture, counts_roles_bars_and_passages) {
  EXPECT_GT(picture_.count_near(lane(LaneKind::counts), theme_->text, 60), 40);
  EXPECT_GT(picture_.count_near(lane(LaneKind::roles), theme_->text, 60), 40);
  EXPECT_GT(picture_.count_near(lane(LaneKind::ruler), theme_->faint_text, 60), 10);
  const Rect passage = stage_.desk().lanes().passages[0].rect;
  EXPECT_GT(picture_.count_near(passage, theme_->passages[0], 12), 20);
  EXPECT_GT(picture_.count_near(passage, theme_->text, 60), 10) << "its name";
}

TEST_F(LanePicture, playhead) {
  stage_.desk().state().cursor_samples = 60000.0;
  stage_.step();
  const Picture picture = stage_.picture();
  const float x = stage_.desk().lanes().axis.px(60000.0);
  const Rect column{x - 2.0F, lane(LaneKind::counts).y0, x + 2.0F, lane(LaneKind::counts).y1};
  EXPECT_GT(picture.count_near(column, theme_->playhead, 40), 10);
}

TEST(WavePicture, waveform_and_evidence_of_the_demo) {
  DeskStage stage;
  const auto recording = stage.folder() / "ferry-slip.ogg";
  std::filesystem::copy_file(std::filesystem::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg",
                             recording);
  stage.open(recording);
  for (LaneSetting& lane : stage.desk().state().lanes) {
    if (lane.kind == LaneKind::lens) lane.is_folded = false;
  }
  stage.step(2);
  ASSERT_NE(stage.desk().session().levels(), nullptr);
  while (stage.desk().session().levels()->levels().share_done() < 1.0) stage.step();
  const Picture picture = stage.picture();
  picture.save(picture_folder() / "demo-dark.png");
  const Theme& theme = stage.desk().theme();
  const Rect& wave = stage.desk().lanes().lane(LaneKind::waveform)->rect;
  EXPECT_GT(picture.count_near(wave, theme.waveform, 12), 2000);
  const Rect& lens = stage.desk().lanes().lane(LaneKind::lens)->rect;
  EXPECT_GT(picture.count_near(lens, theme.evidence, 24), 500);
  stage.key("F10");
  stage.step(2);
  stage.picture().save(picture_folder() / "demo-light.png");
}

TEST(ScaledPicture, everything_is_there_at_twice_the_size) {
  DeskStage stage({.width = 2560.0F, .height = 1440.0F, .scale = 2.0F});
  stage.open(sheet::example::walk());
  stage.step(2);
  const Picture picture = stage.picture();
  picture.save(picture_folder() / "desk-scale-2.png");
  ASSERT_FALSE(stage.desk().lanes().notes.empty());
  EXPECT_GT(picture.count_near(stage.desk().lanes().notes[0].chip, stage.desk().theme().text, 40),
            30);
  EXPECT_GT(stage.desk().lanes().number_px, 26.0F);
}

}  // namespace
}  // namespace lowstride::desk
