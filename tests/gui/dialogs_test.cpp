#include <algorithm>
#include <fstream>

#include <gmock/gmock.h>

#include "gui/draw/export_dialog.hpp"
#include "gui/draw/file_browser.hpp"
#include "src/audio/recording.hpp"
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
  names.reserve(entries.size());
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
    choice.target = usual_target(take_path, choice);
    if (kind == SheetKind::practice) choice.part.kind = PartChoice::Kind::marked;
    const auto done = write_sheet(take, choice, take::Stretch{24000, 72000}, recording, {});
    ASSERT_TRUE(done) << done.error().message;
  }
  for (const char* name : {"walk.txt", "walk.musicxml", "walk.mid", "walk.notes.tsv",
                           "walk practice.ogg", "walk.pdf", "walk.svg", "walk.png"}) {
    EXPECT_GT(fs::file_size(folder_ / name), 100U) << name;
  }
  ExportChoice choice;
  choice.kind = SheetKind::text;
  choice.target = "/none/such/walk.txt";
  const auto refused = write_sheet(take, choice, std::nullopt, recording, {});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("walk.txt"), std::string::npos);
}

TEST_F(Folders, a_part_or_a_level_is_written_and_what_is_not_there_is_said) {
  take::Take take = sheet::example::walk();
  ASSERT_TRUE(take::apply(
      take, take::AddPassage{"bridge", take.beats[4].time_samples, take.beats[8].time_samples}));
  const auto text_of = [&](const ExportChoice& wanted) {
    ExportChoice choice = wanted;
    choice.kind = SheetKind::text;
    choice.target = folder_ / "part.txt";
    const auto done = write_sheet(take, choice, std::nullopt, {}, {});
    if (!done) return done.error().message;
    std::ifstream file(choice.target);
    return std::string(std::istreambuf_iterator<char>(file), {});
  };
  ExportChoice choice;
  const std::string whole = text_of(choice);
  choice.part = {.kind = PartChoice::Kind::passage, .passage = "bridge"};
  const std::string bridge = text_of(choice);
  EXPECT_LT(bridge.size(), whole.size());
  choice.part = {.kind = PartChoice::Kind::bars, .first_bar = 2, .last_bar = 2};
  EXPECT_EQ(text_of(choice), bridge) << "the bridge is bar 2";
  choice.part = {};
  choice.level = 1;
  EXPECT_NE(text_of(choice), whole);
  choice.level.reset();
  choice.part.kind = PartChoice::Kind::marked;
  EXPECT_THAT(text_of(choice), testing::HasSubstr("marked"));
  choice.part = {.kind = PartChoice::Kind::passage, .passage = "coda"};
  EXPECT_THAT(text_of(choice), testing::HasSubstr("coda"));
}

// The bars of a Standard MIDI File and of tables are those asked for; a MIDI file of a part begins
// at once (SMF 1.0: delta times from the start of the track; note-on status 9n, MIDI 1.0).
TEST_F(Folders, midi_and_tables_hold_the_bars_asked_for) {
  take::Take take = sheet::example::walk();
  ASSERT_TRUE(take::apply(
      take, take::AddPassage{"bridge", take.beats[4].time_samples, take.beats[8].time_samples}));
  const auto bytes_of = [this](const char* name) {
    std::ifstream file(folder_ / name, std::ios::binary);
    return std::string(std::istreambuf_iterator<char>(file), {});
  };
  const auto lines_of = [&](const char* name) { return std::ranges::count(bytes_of(name), '\n'); };
  const auto note_count = [](const take::Take& whole, std::int64_t begin, std::int64_t end) {
    return std::ranges::count_if(whole.notes, [&](const take::Note& note) {
      return note.onset_samples >= begin && note.onset_samples < end;
    });
  };
  ExportChoice choice;
  choice.kind = SheetKind::tables;
  choice.target = folder_ / "whole";
  ASSERT_TRUE(write_sheet(take, choice, std::nullopt, {}, {}));
  choice.part = {.kind = PartChoice::Kind::passage, .passage = "bridge"};
  choice.target = folder_ / "bridge";
  const auto done = write_sheet(take, choice, std::nullopt, {}, {});
  ASSERT_TRUE(done) << done.error().message;
  const auto in_bridge = note_count(take, take.beats[4].time_samples, take.beats[8].time_samples);
  EXPECT_GT(in_bridge, 0);
  EXPECT_EQ(lines_of("whole.notes.tsv") - lines_of("bridge.notes.tsv"),
            static_cast<std::ptrdiff_t>(take.notes.size()) - in_bridge);
  EXPECT_EQ(lines_of("bridge.beats.tsv"),
            lines_of("whole.beats.tsv") - static_cast<std::ptrdiff_t>(take.beats.size()) + 4);
  choice.kind = SheetKind::midi;
  choice.target = folder_ / "bars.mid";
  choice.part = {.kind = PartChoice::Kind::bars, .first_bar = 2, .last_bar = 2};
  ASSERT_TRUE(write_sheet(take, choice, std::nullopt, {}, {}));
  choice.target = folder_ / "whole.mid";
  choice.part = {};
  ASSERT_TRUE(write_sheet(take, choice, std::nullopt, {}, {}));
  EXPECT_LT(bytes_of("bars.mid").size(), bytes_of("whole.mid").size());
  choice.part = {.kind = PartChoice::Kind::bars, .first_bar = 90, .last_bar = 91};
  EXPECT_FALSE(write_sheet(take, choice, std::nullopt, {}, {}));
  EXPECT_FALSE(preview_of(take, choice, std::nullopt, 0, 96.0).text.empty());
}

TEST_F(Folders, all_levels_stand_one_after_another) {
  const take::Take take = sheet::example::walk();
  ExportChoice choice;
  choice.kind = SheetKind::text;
  choice.has_all_levels = true;
  choice.target = usual_target(folder_ / "walk.take", choice);
  EXPECT_EQ(choice.target.filename(), "walk levels.txt");
  ASSERT_TRUE(write_sheet(take, choice, std::nullopt, {}, {}));
  std::ifstream file(choice.target);
  const std::string text(std::istreambuf_iterator<char>(file), {});
  std::size_t at = 0;
  for (int level = 1; level <= 6; ++level) {
    ExportChoice alone = choice;
    alone.has_all_levels = false;
    alone.level = level;
    const std::string one = preview_of(take, alone, std::nullopt, 0, 96.0).text;
    const std::size_t found = text.find(one, at);
    ASSERT_NE(found, std::string::npos) << "level " << level;
    at = found + one.size();
  }
  choice.kind = SheetKind::pdf;
  const ExportPreview pages = preview_of(take, choice, std::nullopt, 0, 96.0);
  EXPECT_GE(pages.page_count, 6U) << "each begins a page";
  EXPECT_EQ(usual_target(folder_ / "walk.take", choice).filename(), "walk levels.pdf");
  choice.kind = SheetKind::midi;
  EXPECT_EQ(usual_target(folder_ / "walk.take", choice).filename(), "walk.mid")
      << "a MIDI file holds one";
}

TEST_F(Folders, practice_audio_goes_through_its_speeds_and_needs_no_recording) {
  const take::Take take = sheet::example::walk();
  ExportChoice choice;
  choice.kind = SheetKind::practice;
  choice.target = folder_ / "walk.wav";
  choice.part = {.kind = PartChoice::Kind::bars, .first_bar = 1, .last_bar = 1};
  choice.practice.speed_ratio = 0.9;
  choice.practice.last_speed_ratio = 1.0;
  choice.practice.repeat_count = 1;
  choice.practice.count_in_bars = 0;
  const auto done = write_sheet(take, choice, std::nullopt, {}, {});
  ASSERT_TRUE(done) << done.error().message;
  // A bar of two seconds at 90, 95 and 100 %.
  const auto info = audio::open_recording(choice.target, {}, {});
  ASSERT_TRUE(info);
  const double seconds = static_cast<double>((*info)->info().sample_count) /
                         static_cast<double>((*info)->info().sample_rate_hz);
  EXPECT_NEAR(seconds, 2.0 / 0.9 + 2.0 / 0.95 + 2.0, 0.01);
  const ExportPreview preview = preview_of(take, choice, std::nullopt, 0, 96.0);
  EXPECT_THAT(preview.text, testing::AllOf(testing::HasSubstr("90 %"), testing::HasSubstr("95 %"),
                                           testing::HasSubstr("100 %")));
}

TEST_F(Folders, a_preview_of_pages_is_the_page_that_is_written) {
  const take::Take take = sheet::example::walk();
  ExportChoice choice;
  const ExportPreview preview = preview_of(take, choice, std::nullopt, 7, 96.0);
  ASSERT_TRUE(preview.page) << preview.text;
  EXPECT_EQ(preview.page_count, 1U);
  EXPECT_EQ(preview.page_index, 0U) << "brought into range";
  // A4 at 96 dots an inch (ISO 216: 210 by 297 mm).
  EXPECT_NEAR(preview.page->width, 210.0 / 25.4 * 96.0, 1.5);
  EXPECT_NEAR(preview.page->height, 297.0 / 25.4 * 96.0, 1.5);
  int dark = 0;
  for (std::size_t i = 0; i < preview.page->rgba.size(); i += 4) {
    if (preview.page->rgba[i] < 100) ++dark;
  }
  EXPECT_GT(dark, 2000) << "staff, tab and title";
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
  ASSERT_TRUE(stage.settle_export());
  const auto page = stage.picture();
  page.save(picture_folder() / "sheets.png");
  // The page stands in the right part of the window, black on white.
  const Rect text{420.0F, 90.0F, 1200.0F, 600.0F};
  EXPECT_GT(page.count_near(text, {255, 255, 255}, 10), 100'000);
  EXPECT_GT(page.count_near(text, {0, 0, 0}, 60), 1000);
  stage.desk().export_dialog().choice().kind = SheetKind::practice;
  ASSERT_TRUE(stage.settle_export());
  stage.picture().save(picture_folder() / "sheets-practice.png");
  stage.desk().export_dialog().choice().kind = SheetKind::text;
  ASSERT_TRUE(stage.settle_export());
  const auto tab = stage.picture();
  tab.save(picture_folder() / "sheets-text.png");
  EXPECT_GT(tab.count_near(text, stage.desk().theme().text, 60), 1000);
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
