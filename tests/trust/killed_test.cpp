// A process at work is killed at random moments, again and again on the same files. The quick tier
// does a few rounds of each; LOWSTRIDE_KILL_ROUNDS asks for more (the long tier: 200 in all).
#include "tests/trust/killed.hpp"

#include <algorithm>
#include <cstdlib>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/audio/writer.hpp"
#include "src/drill/history.hpp"
#include "src/sheet/export.hpp"
#include "src/take/storage.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride {
namespace {

namespace fs = std::filesystem;
using take::SetTitle;
using take::TakeFile;
using take::testing_help::example_take;
using testing_help::killed_at_random;
using testing_help::Reporter;

int round_count() {
  const char* asked = std::getenv("LOWSTRIDE_KILL_ROUNDS");
  return asked == nullptr ? 6 : std::max(1, std::atoi(asked));
}

class Killed : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "line.take";
  }
  /// Names that begin with a dot: files in the making.
  [[nodiscard]] std::set<std::string> hidden() const {
    std::set<std::string> found;
    for (const auto& name : names()) {
      if (name.starts_with('.')) found.insert(name);
    }
    return found;
  }
  /// Opens the take and checks that it holds the last edit that was told of, or one more.
  int title_now(int told) const {
    const auto file = TakeFile::open(path_);
    EXPECT_TRUE(file) << file.error().message;
    if (!file) return told;
    const int found = std::stoi(file->take().title);
    EXPECT_GE(found, told) << "an edit is lost";
    EXPECT_LE(found, told + 1);
    return found;
  }

  fs::path path_;
  std::mt19937 random_{20261125};
};

// Edits alone: the journal is the autosave.
TEST_F(Killed, while_editing_no_edit_is_lost) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  int reached = 0;
  for (int round = 0; round < round_count(); ++round) {
    const auto told = killed_at_random(
        [&](const Reporter& reporter) {
          auto file = TakeFile::open(path_);
          if (!file) return;
          for (int n = reached + 1; file->apply(SetTitle{std::to_string(n)}); ++n) {
            reporter.step_done(n);
          }
        },
        30'000, random_);
    ASSERT_TRUE(told) << "round " << round << ": the child gave up";
    reached = title_now(*told);
    EXPECT_TRUE(hidden().empty());
  }
  EXPECT_GE(reached, round_count());
}

TEST_F(Killed, while_saving_no_edit_is_lost_and_the_version_before_can_be_read) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  int reached = 0;
  for (int round = 0; round < round_count(); ++round) {
    const auto told = killed_at_random(
        [&](const Reporter& reporter) {
          auto file = TakeFile::open(path_);
          if (!file) return;
          for (int n = reached + 1;; ++n) {
            if (!file->apply(SetTitle{std::to_string(n)})) return;
            reporter.step_done(n);
            if (!file->save()) return;
          }
        },
        30'000, random_);
    ASSERT_TRUE(told) << "round " << round << ": the child gave up";
    reached = title_now(*told);
    EXPECT_TRUE(hidden().empty());
    const fs::path backup = folder_ / "line.take.bak";
    if (fs::exists(backup)) {
      EXPECT_TRUE(take::load_take(backup)) << "round " << round;
    }
  }
  EXPECT_GE(reached, round_count());
}

Result<void> write_sound(const fs::path& path, int number) {
  audio::WriteOptions options;
  options.channel_count = 1;
  auto writer = audio::AudioWriter::create(path, options);
  if (!writer) return tl::unexpected(writer.error());
  const std::vector<float> sound(20'000 + static_cast<std::size_t>(number), 0.25F);
  const std::vector<const float*> channels{sound.data()};
  if (auto done = (*writer)->write({channels, sound.size()}); !done) return done;
  return (*writer)->commit();
}

// Sheets and sounds written over and over: each is that of some step, whole.
TEST_F(Killed, while_exporting_each_file_is_whole_and_the_next_start_tidies_up) {
  take::Take take = example_take();
  take.title = "0";
  { ASSERT_TRUE(TakeFile::create(path_, take)); }
  const auto sheet_of = [&](int number) {
    take::Take titled = take;
    titled.title = std::to_string(number);
    return *sheet::musicxml_file(titled);
  };
  int left_behind = 0;
  for (int round = 0; round < round_count(); ++round) {
    const auto told = killed_at_random(
        [&](const Reporter& reporter) {
          take::Take titled = take;
          for (int n = 1;; ++n) {
            titled.title = std::to_string(n);
            if (!sheet::export_musicxml(titled, folder_ / "line.musicxml")) return;
            if (!sheet::export_tables(titled, folder_ / "line")) return;
            if (!write_sound(folder_ / "line.wav", n)) return;
            reporter.step_done(n);
          }
        },
        30'000, random_);
    ASSERT_TRUE(told) << "round " << round << ": the child gave up";
    const std::string sheet = bytes_of(folder_ / "line.musicxml");
    EXPECT_TRUE(sheet == sheet_of(*told) || sheet == sheet_of(*told + 1));
    const auto wav_bytes = static_cast<int>(fs::file_size(folder_ / "line.wav"));
    const int frames = (wav_bytes - 44) / 2 - 20'000;  // 44: the head of a plain WAV file
    EXPECT_TRUE(frames == *told || frames == *told + 1) << frames << " after step " << *told;
    left_behind += static_cast<int>(hidden().size());
    { ASSERT_TRUE(TakeFile::open(path_)); }
    EXPECT_TRUE(hidden().empty());
  }
  if (round_count() > 20) {
    EXPECT_GT(left_behind, 0) << "no kill came while a file was in the making";
  }
}

TEST_F(Killed, while_answering_drills_every_answer_that_was_recorded_is_there) {
  const fs::path path = folder_ / "Mia.history";
  drill::Item item;
  item.key = "take:note:7";
  item.take_key = "take";
  int reached = 0;
  for (int round = 0; round < round_count(); ++round) {
    const auto told = killed_at_random(
        [&](const Reporter& reporter) {
          auto history = drill::History::open(path);
          if (!history) return;
          for (int n = reached + 1;; ++n) {
            drill::AnswerRecord answer;
            answer.item_key = item.key;
            answer.take_key = item.take_key;
            answer.grade = drill::Grade::slow;
            answer.answered_at = n;
            answer.notes.resize(4);
            if (!history->record(item, answer)) return;
            reporter.step_done(n);
          }
        },
        30'000, random_);
    ASSERT_TRUE(told) << "round " << round << ": the child gave up";
    const auto history = drill::History::open(path);
    ASSERT_TRUE(history) << history.error().message;
    EXPECT_TRUE(history->messages().empty());
    const auto answers = history->answers();
    ASSERT_TRUE(answers);
    const auto found = static_cast<int>(answers->size());
    EXPECT_GE(found, *told) << "an answer is lost";
    EXPECT_LE(found, *told + 1);
    for (int i = 0; i < found; ++i) {
      const auto& one = (*answers)[static_cast<std::size_t>(i)];
      EXPECT_EQ(one.answered_at, i + 1);
      EXPECT_EQ(one.notes.size(), 4U) << "half an answer";
    }
    EXPECT_EQ(history->states()->front().answer_count, found);
    reached = found;
  }
  EXPECT_GE(reached, round_count());
}

}  // namespace
}  // namespace lowstride
