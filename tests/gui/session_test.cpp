#include "gui/model/session.hpp"

#include <fstream>

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

}  // namespace
}  // namespace lowstride::desk
