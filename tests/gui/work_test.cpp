// The desk while something goes on in the background, and what it passes on to the ears.
#include <fstream>
#include <set>
#include <thread>
#include <vector>

#include <gmock/gmock.h>

#include "src/audio/writer.hpp"
#include "tests/gui/desk_stage.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;
using testing_help::DeskStage;

class AtWork : public testing::Test {
 protected:
  void SetUp() override {
    ::setenv("XDG_CACHE_HOME", (stage_.folder() / "cache").c_str(), 1);
    recording_ = stage_.folder() / "ferry-slip.ogg";
    fs::copy_file(fs::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg", recording_);
  }
  void TearDown() override { ::unsetenv("XDG_CACHE_HOME"); }

  /// Steps frames until `is_there`, as the window's loop does.
  template <typename Condition>
  bool step_until(Condition is_there) {
    for (int i = 0; i < 4000; ++i) {
      stage_.step();
      if (is_there()) return true;
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    return false;
  }
  Session& session() { return stage_.desk().session(); }

  DeskStage stage_;
  fs::path recording_;
};

// The window's drop callback does this and nothing else.
TEST_F(AtWork, a_dropped_recording_shows_its_waveform_and_its_stages_before_its_notes) {
  stage_.desk().open(recording_);
  std::set<std::string> stages;
  double last_share = 0.0;
  bool is_wave_first = false;
  ASSERT_TRUE(step_until([&] {
    if (const auto work = session().work()) {
      stages.insert(work->stage);
      last_share = std::max(last_share, work->share);
    }
    is_wave_first = is_wave_first || (session().levels() != nullptr &&
                                      session().levels()->levels().share_done() == 1.0 &&
                                      session().take().notes.empty());
    return !session().take().notes.empty();
  }));
  EXPECT_TRUE(is_wave_first);
  EXPECT_GE(stages.size(), 3U) << testing::PrintToString(stages);
  EXPECT_GT(last_share, 0.3);
  EXPECT_FALSE(session().work());
}

TEST_F(AtWork, stopping_the_analysis_leaves_what_is_there) {
  stage_.desk().open(recording_);
  ASSERT_TRUE(step_until([&] { return session().has_take() && session().work(); }));
  ASSERT_TRUE(session().apply(take::SetTitle{"Ferry Slip"}));
  session().cancel_work();
  ASSERT_TRUE(step_until([&] { return !session().work(); }));
  EXPECT_TRUE(session().take().notes.empty());
  EXPECT_EQ(session().take().title, "Ferry Slip");
  EXPECT_THAT(stage_.desk().status(), testing::HasSubstr("stopped"));
  ASSERT_NE(session().levels(), nullptr);
  // It can be begun anew at any time.
  session().listen_again();
  stage_.settle();
  EXPECT_FALSE(session().take().notes.empty());
  EXPECT_EQ(session().take().title, "Ferry Slip");
}

// What was heard of the one before is not said of the next, however far the listening had come.
TEST_F(AtWork, another_recording_is_opened_while_one_is_listened_to) {
  const fs::path silent = stage_.folder() / "silent.wav";
  {
    const std::vector<float> nothing(3 * 48000, 0.0F);
    const float* const channel = nothing.data();
    auto writer = audio::AudioWriter::create(silent, {.channel_count = 1});
    ASSERT_TRUE(writer);
    ASSERT_TRUE((*writer)->write({{&channel, 1}, nothing.size()}));
    ASSERT_TRUE((*writer)->commit());
  }
  for (const double share : {0.3, 0.92}) {
    SCOPED_TRACE(share);
    fs::remove(stage_.folder() / "ferry-slip.take");
    fs::remove_all(stage_.folder() / "cache");
    stage_.desk().open(recording_);
    ASSERT_TRUE(step_until([&] {
      const auto work = session().work();
      return work && session().has_take() && work->share >= share;
    }));
    // At the later place it is done by now, and nobody has looked.
    if (share > 0.9) std::this_thread::sleep_for(std::chrono::seconds(2));
    stage_.desk().open(silent);
    stage_.settle();
    EXPECT_EQ(session().path().filename(), "silent.take");
    EXPECT_TRUE(session().take().notes.empty());
    EXPECT_TRUE(session().take().chords.empty());
    fs::remove(stage_.folder() / "silent.take");
  }
}

TEST_F(AtWork, a_file_that_is_no_recording_leaves_the_take_where_it_is) {
  stage_.desk().open(recording_);
  ASSERT_TRUE(step_until([&] { return session().has_take() && session().work(); }));
  const fs::path letter = stage_.folder() / "letter.wav";
  std::ofstream(letter) << "Dear pupil";
  stage_.desk().open(letter);
  stage_.settle();
  EXPECT_EQ(session().path().filename(), "ferry-slip.take");
  EXPECT_FALSE(session().is_read_only());
  // What it was listened to for goes on, and nothing of the other file is kept.
  EXPECT_FALSE(session().take().notes.empty());
  EXPECT_NE(session().levels(), nullptr);
  EXPECT_THAT(stage_.desk().settings().recent, testing::Each(testing::Ne(letter)));
  EXPECT_NE(stage_.ears(), nullptr);
  // Nor later, when the same take is opened anew for another reason.
  ASSERT_TRUE(session().save());
  ASSERT_TRUE(session().open_version_before());
  stage_.settle();
  EXPECT_THAT(stage_.desk().settings().recent, testing::Each(testing::Ne(letter)));
}

TEST_F(AtWork, the_same_recording_opened_again_meanwhile_can_be_worked_on) {
  stage_.desk().open(recording_);
  ASSERT_TRUE(step_until([&] { return session().work().has_value(); }));
  stage_.desk().open(recording_);
  stage_.desk().open(recording_);
  stage_.settle();
  EXPECT_FALSE(session().is_read_only());
  EXPECT_FALSE(session().take().notes.empty());
  EXPECT_TRUE(session().apply(take::SetTitle{"Ferry Slip"}));
}

TEST_F(AtWork, the_low_voice_is_switched_while_playing) {
  stage_.desk().open(recording_);
  ASSERT_TRUE(step_until([&] { return session().has_take(); }));
  session().cancel_work();
  stage_.settle();
  stage_.key("Space");
  const auto use = [this] { return stage_.ears()->settings.low_voice.use; };
  for (const auto expected : {audio::LowVoiceUse::up, audio::LowVoiceUse::only,
                              audio::LowVoiceUse::minus, audio::LowVoiceUse::as_is}) {
    stage_.key("B");
    EXPECT_EQ(use(), expected);
    EXPECT_TRUE(stage_.ears()->is_playing);
  }
  EXPECT_FALSE(stage_.ears()->settings.low_voice.octave_up);
  stage_.key("Shift+B");
  EXPECT_TRUE(stage_.ears()->settings.low_voice.octave_up);
  EXPECT_THAT(stage_.desk().status(), testing::HasSubstr("octave up"));
}

TEST(WithoutRecording, there_is_no_low_voice_to_switch_and_it_is_said) {
  DeskStage stage;
  stage.open(sheet::example::walk());
  stage.key("B");
  EXPECT_EQ(stage.ears()->settings.low_voice.use, audio::LowVoiceUse::as_is);
  EXPECT_THAT(stage.desk().status(), testing::HasSubstr("recording"));
}

}  // namespace
}  // namespace lowstride::desk
