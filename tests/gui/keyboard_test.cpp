// Dialogs by keyboard alone: the mouse stays outside the window.
#include <fstream>
#include <thread>

#include <gmock/gmock.h>

#include "src/take/storage.hpp"
#include "tests/drill/drill_takes.hpp"
#include "tests/gui/desk_stage.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;
using testing_help::DeskStage;

/// More than any dialog has parts below one another.
constexpr int to_the_end = 60;

class Keyboard : public testing::Test {
 protected:
  void SetUp() override { ::setenv("XDG_DATA_HOME", (stage_.folder() / "data").c_str(), 1); }
  void TearDown() override { ::unsetenv("XDG_DATA_HOME"); }
  Desk& desk() { return stage_.desk(); }

  DeskStage stage_;
};

TEST_F(Keyboard, a_sheet_is_chosen_and_written) {
  stage_.open(sheet::example::walk());
  stage_.key("Ctrl+E");
  ASSERT_TRUE(stage_.settle_export());
  ASSERT_EQ(desk().export_dialog().choice().kind, SheetKind::pdf);
  // The kind that is chosen has the keyboard; text tab stands at its right.
  stage_.press_key("Right");
  stage_.press_key("Enter");
  EXPECT_EQ(desk().export_dialog().choice().kind, SheetKind::text);
  ASSERT_TRUE(stage_.settle_export());
  // The last part is what writes.
  stage_.press_key("Down", to_the_end);
  stage_.press_key("Enter");
  ASSERT_TRUE(stage_.settle_export());
  stage_.step(2);
  EXPECT_FALSE(desk().export_dialog().is_open()) << desk().status();
  fs::path written = desk().session().path();
  written.replace_extension(".txt");
  EXPECT_TRUE(fs::exists(written)) << desk().status();
}

TEST_F(Keyboard, a_level_is_chosen_from_its_list_and_escape_closes_the_list_first) {
  stage_.open(sheet::example::walk());
  stage_.key("Ctrl+E");
  ASSERT_TRUE(stage_.settle_export());
  // Four rows of kinds, then the list of levels.
  stage_.press_key("Down", 4);
  stage_.press_key("Enter");
  stage_.press_key("Down", 2);
  stage_.press_key("Enter");
  EXPECT_EQ(desk().export_dialog().choice().level, 2);
  stage_.press_key("Enter");
  stage_.press_key("Escape");
  EXPECT_TRUE(desk().export_dialog().is_open()) << "only the list was closed";
  stage_.press_key("Escape");
  EXPECT_FALSE(desk().export_dialog().is_open());
}

TEST_F(Keyboard, a_file_is_found_and_opened) {
  const fs::path inner = stage_.folder() / "lessons";
  fs::create_directories(inner);
  for (const char* name : {"one.take", "two.take"}) {
    take::Take take = sheet::example::walk();
    take.title = name;
    ASSERT_TRUE(take::save_copy(take, inner / name));
  }
  stage_.open(sheet::example::walk());
  stage_.key("Ctrl+O");
  stage_.step(2);
  // From the filter down into the list: the folder stands first.
  stage_.type("less");
  stage_.press_key("Down");
  stage_.press_key("Enter");
  stage_.step(2);
  stage_.press_key("Down", to_the_end);
  stage_.press_key("Enter");
  stage_.settle();
  EXPECT_EQ(desk().session().path().filename(), "two.take");
}

TEST_F(Keyboard, a_drill_is_set_up_answered_and_left) {
  stage_.open(drill::example::line());
  stage_.key("D");
  stage_.step(2);
  DrillWindow& window = desk().drill_window();
  // "Begin" has the keyboard; the kinds stand above it.
  const std::size_t kinds = window.choice().kinds.size();
  stage_.press_key("Up", 5);
  stage_.press_key("Space");
  EXPECT_EQ(window.choice().kinds.size(), kinds + 1);
  stage_.press_key("Space");
  EXPECT_EQ(window.choice().kinds.size(), kinds);
  window.choice().kinds = {drill::Kind::write_the_bar};
  stage_.press_key("Down", to_the_end);
  stage_.press_key("Left");
  stage_.press_key("Enter");
  for (int i = 0; i < 2000 && window.drilling() == nullptr; ++i) {
    stage_.step();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  ASSERT_NE(window.drilling(), nullptr) << window.trouble();
  stage_.press_key("Enter");
  ASSERT_EQ(window.drilling()->phase(), drill::Phase::asking);
  // A key of the drill does not press what the keyboard was at.
  stage_.press_key("Space");
  EXPECT_EQ(window.drilling()->phase(), drill::Phase::asking);
  EXPECT_EQ(window.drilling()->summary().item_count, 0);
  stage_.key("Shift+1");
  EXPECT_EQ(window.drilling()->phase(), drill::Phase::feedback) << "given up";
  stage_.press_key("Escape");
  EXPECT_FALSE(window.is_open());
}

TEST_F(Keyboard, a_drill_that_is_typed_needs_no_mouse) {
  stage_.open(drill::example::line());
  stage_.key("D");
  stage_.step(2);
  DrillWindow& window = desk().drill_window();
  window.choice().kinds = {drill::Kind::spot_the_change};
  window.begin();
  for (int i = 0; i < 2000 && window.drilling() == nullptr; ++i) {
    stage_.step();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  ASSERT_NE(window.drilling(), nullptr);
  stage_.press_key("Enter");
  ASSERT_EQ(window.drilling()->phase(), drill::Phase::asking);
  // Its own keys come first here; Tab leads to the line of text.
  stage_.press_key("Tab");
  stage_.type("1.5");
  stage_.enter();
  EXPECT_TRUE(window.drilling()->verdict());
}

TEST_F(Keyboard, a_version_is_chosen_from_those_kept) {
  stage_.open(sheet::example::walk());
  for (const char* composer : {"first", "second"}) {
    ASSERT_TRUE(desk().session().apply(take::SetComposer{composer}));
    stage_.settle();
    ASSERT_TRUE(desk().session().save());
    std::this_thread::sleep_for(std::chrono::milliseconds(12));
  }
  ASSERT_EQ(stage_.take().composer, "second");
  stage_.key("Ctrl+Shift+V");
  for (int i = 0; i < 1000 && desk().versions_dialog().is_busy(); ++i) {
    stage_.step();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  stage_.step(3);
  stage_.picture().save(testing_help::picture_folder() / "versions.png");
  // The first in the list was saved last; the one under it is the beginning.
  stage_.press_key("Down");
  stage_.press_key("Enter");
  stage_.settle();
  EXPECT_FALSE(desk().versions_dialog().is_open());
  EXPECT_EQ(stage_.take().composer, sheet::example::walk().composer);
}

TEST_F(Keyboard, a_notice_goes_by_escape) {
  stage_.open(sheet::example::walk());
  stage_.key("Right");
  stage_.key("Up");
  stage_.settle();
  stage_.open(fs::path(desk().session().path()));
  stage_.step(3);
  ASSERT_GE(desk().session().recovered_count(), 1U);
  const auto with_notice = stage_.picture();
  stage_.press_key("Escape");
  stage_.step(2);
  const auto without = stage_.picture();
  EXPECT_NE(with_notice.rgb, without.rgb);
  EXPECT_TRUE(desk().session().has_unsaved_edits()) << "the edits are kept";
}

TEST_F(Keyboard, a_key_is_changed_on_the_help_page) {
  stage_.open(sheet::example::walk());
  stage_.key("F1");
  stage_.step(2);
  // Under "First keys" the first action: opening.
  stage_.press_key("Down");
  stage_.press_key("Enter");
  stage_.key("F12");
  stage_.step(2);
  EXPECT_EQ(desk().settings().keys.action_of(KeyChord{keys::f1 + 11}), Action::open);
}

}  // namespace
}  // namespace lowstride::desk
