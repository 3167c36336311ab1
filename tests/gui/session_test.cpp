#include "gui/model/session.hpp"

#include <chrono>
#include <fstream>
#include <thread>

#include <gmock/gmock.h>

#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;

class SessionTest : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    ::setenv("XDG_CACHE_HOME", (folder_ / "cache").c_str(), 1);
    path_ = folder_ / "walk.take";
    ASSERT_TRUE(take::save_copy(sheet::example::walk(), path_));
  }

  fs::path path_;
};

TEST_F(SessionTest, edits_are_in_the_journal_at_once_and_come_back) {
  take::Take edited;
  {
    Session session;
    session.open(path_);
    session.wait();
    ASSERT_TRUE(session.has_take());
    ASSERT_TRUE(session.apply(take::SetTitle{"Loading Dock"}));
    session.wait();
    edited = session.take();
    EXPECT_TRUE(session.has_unsaved_edits());
  }
  Session again;
  again.open(path_);
  again.wait();
  EXPECT_EQ(again.take(), edited);
  EXPECT_EQ(again.recovered_count(), 1U);
  EXPECT_FALSE(again.take_messages().empty());
  ASSERT_TRUE(again.undo());
  EXPECT_EQ(again.take(), sheet::example::walk());
}

TEST_F(SessionTest, a_second_window_on_the_take_only_shows_it) {
  Session first;
  first.open(path_);
  first.wait();
  Session second;
  second.open(path_);
  second.wait();
  EXPECT_TRUE(second.has_take());
  EXPECT_TRUE(second.is_read_only());
  EXPECT_FALSE(second.take_messages().empty());
  const auto refused = second.apply(take::SetTitle{"Mine"});
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::conflict);
  EXPECT_EQ(second.take(), first.take());
}

TEST_F(SessionTest, what_cannot_be_opened_is_one_sentence) {
  std::ofstream(folder_ / "letter.txt") << "Dear Sir, ";
  for (const char* name : {"none.take", "none.wav", "letter.txt"}) {
    Session session;
    session.open(folder_ / name);
    session.wait();
    EXPECT_FALSE(session.has_take()) << name;
    const auto messages = session.take_messages();
    ASSERT_EQ(messages.size(), 1U) << name;
    EXPECT_NE(messages.front().find(name), std::string::npos) << messages.front();
  }
}

TEST_F(SessionTest, a_note_moved_by_hand_gets_its_fret_in_the_same_step) {
  Session session;
  session.open(path_);
  session.wait();
  const take::Take before = session.take();
  ASSERT_TRUE(session.apply(take::ReplaceNote{.id = before.notes[2].id, .midi = 31}));
  session.wait();
  EXPECT_TRUE(session.take().notes[2].position) << "the line is fingered again";
  ASSERT_EQ(session.history()->done().size(), 1U);
  ASSERT_TRUE(session.undo());
  EXPECT_EQ(session.take(), before);
}

TEST_F(SessionTest, edits_quickly_one_after_the_other_stay_single_steps) {
  Session session;
  session.open(path_);
  session.wait();
  const take::Take before = session.take();
  for (std::size_t i = 0; i < 5; ++i) {
    ASSERT_TRUE(session.apply(
        take::ReplaceNote{.id = before.notes[i].id, .midi = before.notes[i].midi + 1}));
    if (i == 2) session.poll();
  }
  session.wait();
  EXPECT_EQ(session.history()->done().size(), 5U);
  for (int i = 0; i < 5; ++i) ASSERT_TRUE(session.undo());
  EXPECT_EQ(session.take(), before);
}

// A recording without a take: opened, lifted in the background, written; the second time it is
// there.
TEST_F(SessionTest, a_recording_is_lifted_in_the_background) {
  const fs::path recording = folder_ / "ferry-slip.ogg";
  fs::copy_file(fs::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg", recording);
  {
    Session session;
    session.open(recording);
    session.wait();
    ASSERT_TRUE(session.has_take());
    // The demo's truth has 103 notes in 25 bars of 132 beats a minute.
    EXPECT_NEAR(static_cast<double>(session.take().notes.size()), 103.0, 4.0);
    ASSERT_NE(session.levels(), nullptr);
    ASSERT_NE(session.evidence(), nullptr);
    ASSERT_TRUE(session.save());
  }
  Session again;
  again.open(recording);
  again.wait();
  EXPECT_NEAR(static_cast<double>(again.take().notes.size()), 103.0, 4.0);
  EXPECT_EQ(again.recovered_count(), 0U);
  ASSERT_NE(again.evidence(), nullptr) << "evidence was kept";
}

// A long recording shows its start first: what is listened to first is a tenth of it here.
TEST_F(SessionTest, the_start_of_a_long_recording_is_there_before_the_whole) {
  const fs::path recording = folder_ / "ferry-slip.ogg";
  fs::copy_file(fs::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg", recording);
  Session session(8.0);
  session.open(recording);
  std::size_t first_count = 0;
  std::int64_t first_end = 0;
  for (int i = 0; i < 20000 && first_count == 0; ++i) {
    session.poll();
    first_count = session.take().notes.size();
    if (first_count > 0) first_end = session.take().notes.back().onset_samples;
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  ASSERT_GT(first_count, 4U);
  EXPECT_LT(first_count, 40U);
  EXPECT_LE(first_end, 8 * session.take().time_base_hz);
  EXPECT_TRUE(session.take().analysis_version.empty()) << "opened anew it would be gone on with";
  EXPECT_TRUE(session.work()) << "the rest is being listened to";
  session.wait();
  EXPECT_NEAR(static_cast<double>(session.take().notes.size()), 103.0, 4.0);
  EXPECT_FALSE(session.take().analysis_version.empty());
}

TEST_F(SessionTest, the_waveform_does_not_wait_for_the_file_to_be_opened) {
  const fs::path recording = folder_ / "ferry-slip.ogg";
  fs::copy_file(fs::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg", recording);
  Session session;
  session.open(recording);
  bool was_early = false;
  for (int i = 0; i < 20000 && !session.has_take(); ++i) {
    session.poll();
    was_early = was_early || (session.levels() != nullptr && !session.has_take() &&
                              session.take().length_samples > 0);
    std::this_thread::sleep_for(std::chrono::microseconds(200));
  }
  EXPECT_TRUE(was_early);
  ASSERT_NE(session.levels(), nullptr);
  EXPECT_EQ(session.levels()->levels().sample_count(), session.take().length_samples);
  session.cancel_work();
  session.wait();
}

TEST_F(SessionTest, saving_in_the_background_tells_what_came_of_it) {
  Session session;
  session.open(path_);
  session.wait();
  ASSERT_TRUE(session.apply(take::SetTitle{"Loading Dock"}));
  session.wait();
  session.start_saving();
  // An edit that comes meanwhile is not lost, and is not part of what was saved.
  ASSERT_TRUE(session.apply(take::SetComposer{"a trio"}));
  session.wait();
  const auto saved = session.saved();
  ASSERT_TRUE(saved);
  EXPECT_TRUE(saved->outcome);
  EXPECT_FALSE(session.saved()) << "told once";
  EXPECT_TRUE(session.has_unsaved_edits());
  EXPECT_EQ(take::load_take(path_)->take.composer, "a trio");
  session.start_saving_copy(folder_ / "none" / "copy.take");
  session.wait();
  const auto refused = session.saved();
  ASSERT_TRUE(refused);
  EXPECT_FALSE(refused->outcome);
}

TEST_F(SessionTest, the_version_before_comes_back_and_goes_again) {
  Session session;
  session.open(path_);
  session.wait();
  EXPECT_FALSE(session.open_version_before()) << "there is none yet";
  session.wait();
  ASSERT_TRUE(session.apply(take::SetComposer{"a trio"}));
  session.wait();
  EXPECT_EQ(session.open_version_before().error().code, ErrorCode::conflict) << "not saved yet";
  ASSERT_TRUE(session.save());
  ASSERT_TRUE(session.open_version_before());
  session.wait();
  EXPECT_EQ(session.take(), sheet::example::walk());
  ASSERT_TRUE(session.open_version_before());
  session.wait();
  EXPECT_EQ(session.take().composer, "a trio");
}

}  // namespace
}  // namespace lowstride::desk
