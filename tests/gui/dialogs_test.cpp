#include <fstream>

#include <gmock/gmock.h>

#include "gui/draw/export_dialog.hpp"
#include "gui/draw/file_browser.hpp"
#include "tests/gui/desk_stage.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;
using testing_help::DeskStage;
using testing_help::picture_folder;

class Folders : public take::testing_help::FolderTest {};

TEST_F(Folders, show_folders_first_and_only_what_can_be_opened) {
  fs::create_directories(folder_ / "zeta");
  for (const char* name : {"b.WAV", "A.take", ".hidden.wav", "letter.txt", "c.m4a"}) {
    std::ofstream(folder_ / name) << "x";
  }
  const auto entries = folder_entries(folder_);
  std::vector<std::string> names;
  for (const FolderEntry& entry : entries) names.push_back(entry.path.filename().string());
  EXPECT_THAT(names, testing::ElementsAre("zeta", "A.take", "b.WAV", "c.m4a"));
  EXPECT_TRUE(entries[1].is_take);
  EXPECT_TRUE(folder_entries(folder_ / "none").empty());
}

TEST_F(Folders, are_filtered_by_words_in_any_order) {
  const std::vector<FolderEntry> entries{{"/m/Blue Train rehearsal.wav", false, false},
                                         {"/m/rehearsal two.wav", false, false}};
  EXPECT_EQ(filtered(entries, "REH blue").size(), 1U);
  EXPECT_EQ(filtered(entries, "").size(), 2U);
  EXPECT_TRUE(filtered(entries, "walk").empty());
}

TEST_F(Folders, sheets_are_written_whole_beside_the_take) {
  const take::Take take = sheet::example::walk();
  const fs::path take_path = folder_ / "walk.take";
  const fs::path recording = fs::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg";
  for (const SheetKind kind : all_sheet_kinds) {
    ExportChoice choice;
    choice.kind = kind;
    choice.target = usual_target(take_path, kind);
    choice.is_stretch_only = kind == SheetKind::practice;
    const auto done = write_sheet(take, choice, take::Stretch{24000, 72000}, recording, {});
    ASSERT_TRUE(done) << done.error().message;
  }
  for (const char* name : {"walk.txt", "walk.musicxml", "walk.mid", "walk.notes.tsv", "walk.ogg"}) {
    EXPECT_GT(fs::file_size(folder_ / name), 100U) << name;
  }
  ExportChoice choice;
  choice.target = "/none/such/walk.txt";
  const auto refused = write_sheet(take, choice, std::nullopt, recording, {});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("walk.txt"), std::string::npos);
  choice.kind = SheetKind::practice;
  choice.target = folder_ / "none.ogg";
  EXPECT_EQ(write_sheet(take, choice, std::nullopt, {}, {}).error().code, ErrorCode::not_found);
}

// ImGui's checks end the program where a window is begun and not ended: every screen is drawn, in a
// large window and in one that is far too small.
TEST(Screens, all_are_drawn_at_any_size) {
  for (const float width : {1280.0F, 400.0F}) {
    DeskStage stage({.width = width, .height = width * 0.5625F});
    stage.open(sheet::example::walk());
    stage.key("Right");
    for (const char* key : {"F5", "F6", "F7", "F8", "F9", "E", "R", "F11", "F1"}) {
      stage.key(key);
      stage.step(2);
    }
    stage.key("Escape");
    stage.key("Ctrl+O");
    stage.step(2);
    stage.key("Escape");
    stage.key("Ctrl+E");
    stage.step(2);
    stage.key("Escape");
    stage.key("H");
    stage.step(2);
    stage.key("Escape");
    stage.key("Ctrl+0");
    stage.step(2);
    EXPECT_TRUE(stage.desk().session().has_take());
  }
}

TEST(Screens, help_and_sheets_are_kept_to_be_looked_at) {
  DeskStage stage;
  stage.step(2);
  stage.picture().save(picture_folder() / "welcome.png");
  stage.open(sheet::example::walk());
  stage.key("F1");
  stage.step(2);
  stage.picture().save(picture_folder() / "keys.png");
  stage.key("Escape");
  stage.key("Ctrl+E");
  stage.step(2);
  const auto page = stage.picture();
  page.save(picture_folder() / "sheets.png");
  // The page's text stands in the right part of the window.
  const Rect text{420.0F, 90.0F, 1200.0F, 600.0F};
  EXPECT_GT(page.count_near(text, stage.desk().theme().text, 60), 1000);
}

TEST(Screens, the_recovery_notice_says_what_was_taken_up) {
  DeskStage stage;
  stage.open(sheet::example::walk());
  stage.key("Right");
  stage.key("Up");
  stage.settle();
  const take::Take edited = stage.take();
  const fs::path path = stage.desk().session().path();
  stage.open(path);
  stage.step(3);
  EXPECT_EQ(stage.take(), edited);
  // An edit and what followed from it are several lines of the journal; all of them lead back.
  ASSERT_GE(stage.desk().session().recovered_count(), 1U);
  stage.picture().save(picture_folder() / "recovered.png");
  for (std::size_t i = stage.desk().session().recovered_count(); i > 0; --i) {
    stage.desk().run(Action::undo);
  }
  EXPECT_EQ(stage.take(), sheet::example::walk());
}

}  // namespace
}  // namespace lowstride::desk
