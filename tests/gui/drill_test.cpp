// Ear training on the desk, frame by frame: what is asked, heard, clicked and typed, and what the
// history keeps of it.
#include <thread>

#include <gmock/gmock.h>

#include "tests/drill/drill_takes.hpp"
#include "tests/gui/desk_stage.hpp"

namespace lowstride::desk {
namespace {

using testing_help::DeskStage;
using testing_help::picture_folder;

class DrillOnDesk : public testing::Test {
 protected:
  void SetUp() override {
    ::setenv("XDG_DATA_HOME", (stage_.folder() / "data").c_str(), 1);
    stage_.open(drill::example::line());
  }
  void TearDown() override { ::unsetenv("XDG_DATA_HOME"); }

  DrillWindow& window() { return stage_.desk().drill_window(); }
  Drilling& drilling() { return *window().drilling(); }

  /// Opens the window and begins with one kind, past the warm-up.
  bool begin(drill::Kind kind) {
    stage_.key("D");
    window().choice().kinds = {kind};
    window().begin();
    for (int i = 0; i < 2000 && window().drilling() == nullptr; ++i) {
      stage_.step();
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    if (window().drilling() == nullptr) return false;
    EXPECT_EQ(drilling().phase(), drill::Phase::listening) << "a warm-up comes first";
    stage_.key("Enter");
    stage_.step(2);
    return drilling().phase() == drill::Phase::asking;
  }
  std::vector<drill::AnswerRecord> kept() {
    const auto history = drill::History::open(*drill::history_path("player"));
    return history ? history->answers().value_or(std::vector<drill::AnswerRecord>{})
                   : std::vector<drill::AnswerRecord>{};
  }
  [[nodiscard]] std::string said() {
    std::string all;
    for (const std::string& line : drilling().says()) all += line + "\n";
    return all;
  }

  DeskStage stage_;
};

TEST_F(DrillOnDesk, a_note_is_found_on_the_neck_and_the_answer_is_kept) {
  ASSERT_TRUE(begin(drill::Kind::find_the_note)) << said();
  EXPECT_THAT(said(), testing::HasSubstr("Which note"));
  EXPECT_THAT(said(), testing::HasSubstr("hear ")) << "without a loudspeaker it is said";
  stage_.picture().save(picture_folder() / "drill-note.png");
  const drill::Item item = drilling().item();
  const neck::Position place = *item.notes[item.asked].position;
  drilling().put(place.string_number, place.fret, present_moment());
  stage_.step(2);
  EXPECT_EQ(drilling().phase(), drill::Phase::feedback);
  EXPECT_TRUE(drilling().verdict()->is_right);
  const auto answers = kept();
  ASSERT_EQ(answers.size(), 1U);
  EXPECT_EQ(answers.front().item_key, item.key);
  EXPECT_EQ(answers.front().points, 1.0);
}

TEST_F(DrillOnDesk, a_click_on_the_neck_answers) {
  ASSERT_TRUE(begin(drill::Kind::find_the_note));
  // Somewhere on the neck at the right of the window; right or wrong, it is judged.
  bool was_judged = false;
  for (float x = 1000.0F; x < 1220.0F && !was_judged; x += 12.0F) {
    stage_.click({x, 320.0F});
    was_judged = drilling().verdict().has_value();
  }
  EXPECT_TRUE(was_judged);
}

TEST_F(DrillOnDesk, typed_words_are_those_of_the_terminal) {
  ASSERT_TRUE(begin(drill::Kind::find_the_note));
  const drill::Moment now = present_moment();
  drilling().type("nonsense", now);
  EXPECT_THAT(said(), testing::HasSubstr("'nonsense'"));
  drilling().type("?", now);
  EXPECT_EQ(drilling().phase(), drill::Phase::asking);
  drilling().type("!", now);
  EXPECT_EQ(drilling().phase(), drill::Phase::feedback);
  EXPECT_FALSE(drilling().verdict()->is_right);
  ASSERT_EQ(kept().size(), 1U);
  // One hint; a first note has none of direction, and the next step counts as the second.
  EXPECT_GE(kept().front().hint_count, 1);
  EXPECT_LE(kept().front().hint_count, 2);
  EXPECT_EQ(kept().front().grade, drill::Grade::missed);
}

TEST_F(DrillOnDesk, an_empty_bar_is_filled_by_arrows_and_digits) {
  ASSERT_TRUE(begin(drill::Kind::write_the_bar)) << said();
  const drill::Item item = drilling().item();
  ASSERT_EQ(item.notes.size(), 4U);
  const int strings = item.neck.string_count();
  for (const drill::ItemNote& note : item.notes) {
    stage_.key(std::to_string(note.position->fret).c_str());
    // The cursor's note starts on the lowest string.
    for (int string = strings; string > note.position->string_number; --string) stage_.key("Up");
    stage_.key("Right");
  }
  ASSERT_EQ(drilling().written().size(), 4U);
  stage_.picture().save(picture_folder() / "drill-bar.png");
  stage_.key("Enter");
  stage_.step(2);
  ASSERT_EQ(drilling().phase(), drill::Phase::feedback) << said();
  EXPECT_TRUE(drilling().verdict()->is_right) << said();
  EXPECT_EQ(kept().size(), 1U);
}

TEST_F(DrillOnDesk, a_wrong_bar_comes_back_with_marks_for_a_second_try) {
  ASSERT_TRUE(begin(drill::Kind::write_the_bar));
  for (int i = 0; i < 4; ++i) {
    stage_.key("1");
    stage_.key("Right");
  }
  stage_.key("Enter");
  stage_.step(2);
  EXPECT_EQ(drilling().phase(), drill::Phase::asking) << "there is a second try";
  ASSERT_TRUE(drilling().verdict());
  EXPECT_EQ(drilling().verdict()->marks.size(), 4U);
  EXPECT_EQ(drilling().written().size(), 4U) << "what was written stays to be mended";
  stage_.picture().save(picture_folder() / "drill-marks.png");
  stage_.key("Delete");
  EXPECT_EQ(drilling().written().size(), 3U);
}

TEST_F(DrillOnDesk, every_kind_is_asked_and_drawn) {
  for (const drill::Kind kind : drill::all_kinds()) {
    ASSERT_TRUE(begin(kind)) << drill::kind_text(kind);
    EXPECT_EQ(drilling().item().kind, kind);
    stage_.step(3);
    stage_.picture().save(picture_folder() /
                          ("drill-" + std::string(drill::kind_word(kind)) + ".png"));
    stage_.key("Escape");
    EXPECT_FALSE(window().is_open());
  }
}

TEST_F(DrillOnDesk, progress_is_shown_as_a_picture) {
  ASSERT_TRUE(begin(drill::Kind::name_the_role));
  drilling().type("root", present_moment());
  drilling().type("!", present_moment());
  stage_.key("Escape");
  stage_.key("D");
  stage_.step(2);
  // The button beside "Begin".
  bool is_drawn = false;
  for (int i = 0; i < 2000 && !is_drawn; ++i) {
    if (i == 0) window().show_progress();
    stage_.step(2);
    is_drawn = !window().is_busy();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  ASSERT_TRUE(is_drawn);
  const auto picture = stage_.picture();
  picture.save(picture_folder() / "drill-progress.png");
  EXPECT_GT(picture.count_near({660.0F, 60.0F, 1220.0F, 660.0F}, {255, 255, 255}, 10), 50'000);
}

TEST(DrillWithoutConfirmed, says_what_to_do) {
  DeskStage stage;
  ::setenv("XDG_DATA_HOME", (stage.folder() / "data").c_str(), 1);
  stage.open(sheet::example::walk());
  stage.key("D");
  stage.desk().drill_window().begin();
  for (int i = 0; i < 400 && stage.desk().drill_window().is_busy(); ++i) {
    stage.step();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  stage.step(2);
  EXPECT_EQ(stage.desk().drill_window().drilling(), nullptr);
  EXPECT_THAT(stage.desk().drill_window().trouble(), testing::HasSubstr("confirm"));
  ::unsetenv("XDG_DATA_HOME");
}

/// A loudspeaker under the test's hand.
struct ScriptedSound final : DrillSound {
  std::vector<drill::SoundOrder> orders;
  double seconds = 0.0;
  bool is_on = false;

  void play(std::vector<drill::SoundOrder> now) override {
    orders = std::move(now);
    is_on = !orders.empty();
  }
  void stop() override { is_on = false; }
  Heard now() override { return {is_on ? &orders.back() : nullptr, seconds}; }
  std::string notice() const override { return {}; }
};

TEST_F(DrillOnDesk, a_change_is_tapped_while_it_sounds) {
  const auto opened = Drilling::open(stage_.take(), stage_.desk().session().path(),
                                     {.kinds = {drill::Kind::spot_the_change}}, present_moment());
  ASSERT_TRUE(opened) << opened.error().message;
  Drilling& drilling = **opened;
  ScriptedSound sound;
  drilling.begin(&sound, nullptr, present_moment());
  drilling.go_on(present_moment());
  ASSERT_EQ(drilling.phase(), drill::Phase::asking);
  const drill::Item item = drilling.item();
  // An eighth of a beat behind each change, at the speed of the drill.
  std::vector<double> changes;
  for (const drill::ItemChord& chord : item.chords) {
    if (chord.beat > 0.25) changes.push_back(chord.beat + 0.125);
  }
  ASSERT_FALSE(changes.empty());
  for (const double beat : changes) {
    sound.seconds = beat * item.seconds_per_beat() / drilling.speed_ratio();
    drilling.tap();
  }
  ASSERT_EQ(drilling.taps().size(), changes.size());
  EXPECT_NEAR(drilling.taps().front(), changes.front(), 0.03);
  sound.is_on = false;
  drilling.poll(present_moment());
  ASSERT_EQ(drilling.phase(), drill::Phase::feedback);
  EXPECT_TRUE(drilling.verdict()->is_right);
}

}  // namespace
}  // namespace lowstride::desk
