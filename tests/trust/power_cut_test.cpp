#include "tests/trust/power_cut.hpp"

#include <algorithm>
#include <random>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

#include "src/base/atomic_file.hpp"
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
using testing_help::RecordingDisk;

class PowerCut : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    fs::create_directory(folder_ / "disk");
    path_ = folder_ / "disk" / "line.take";
  }
  /// An empty folder to lay a cut out in.
  [[nodiscard]] fs::path empty_place() const {
    fs::remove_all(folder_ / "after");
    fs::create_directory(folder_ / "after");
    return folder_ / "after";
  }

  fs::path path_;
  std::mt19937 random_{20261125};
};

// The power is cut after every change to the disk of a session that edits, syncs and saves; edit n
// sets the title n. What was on the medium by then is there, and never more than was done.
TEST_F(PowerCut, after_any_change_nothing_that_was_synced_is_lost) {
  constexpr int draws = 8;
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  struct Mark {
    std::size_t change_count;
    int done;
    int synced;
  };
  std::vector<Mark> marks;
  RecordingDisk recording(folder_ / "disk");
  {
    const DiskInPlace in_place(recording);
    auto file = TakeFile::open(path_);
    ASSERT_TRUE(file) << file.error().message;
    marks.push_back({0, 0, 0});
    for (int n = 1; n <= 14; ++n) {
      ASSERT_TRUE(file->apply(SetTitle{std::to_string(n)}));
      marks.push_back({recording.change_count(), n, marks.back().synced});
      if (n % 3 == 0) {
        ASSERT_TRUE(n % 2 == 0 ? file->save() : file->sync());
        marks.push_back({recording.change_count(), n, n});
      }
    }
  }
  int unsure = 0;
  int said = 0;
  int lost = 0;
  for (std::size_t count = 0; count <= recording.change_count(); ++count) {
    int synced = 0;
    int done = 0;
    for (const Mark& mark : marks) {
      if (mark.change_count <= count) synced = mark.synced;
      // An edit's changes may be there before `apply` has returned.
      done = mark.done;
      if (mark.change_count > count) break;
    }
    for (int draw = 0; draw < draws; ++draw) {
      SCOPED_TRACE(testing::Message() << "cut after change " << count << ", draw " << draw);
      const fs::path place = empty_place();
      unsure += recording.lay_out(count, place, random_) ? 1 : 0;
      // With a journal on the medium that was not closed, somebody was at work.
      const auto journal = read_small_file(place / "line.take.journal", 1U << 20U);
      const bool must_be_said = journal && !journal->ends_with("{\"closed\": true}\n");
      const auto file = TakeFile::open(place / "line.take");
      ASSERT_TRUE(file) << file.error().message;
      const std::string title = file->take().title;
      const int found = title == example_take().title ? 0 : std::stoi(title);
      ASSERT_GE(found, synced);
      ASSERT_LE(found, done);
      lost += found < done ? 1 : 0;
      const bool is_said = std::ranges::any_of(file->messages(), [](const std::string& message) {
        return message.find("last second") != std::string::npos;
      });
      said += is_said ? 1 : 0;
      EXPECT_TRUE(is_said || !must_be_said);
      for (const auto& entry : fs::directory_iterator(place)) {
        EXPECT_TRUE(entry.path().filename().string().starts_with("line.take")) << entry.path();
      }
    }
  }
  EXPECT_GT(unsure, 150) << "the cuts were harmless";
  EXPECT_GT(lost, 50) << "the cuts were harmless";
  EXPECT_GT(said, 100);
}

// Each edit is on the medium within the second that the message speaks of, on a slow disk too.
TEST_F(PowerCut, every_edit_is_synced_within_a_second) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  RecordingDisk recording(folder_ / "disk");
  recording.sync_time = std::chrono::milliseconds(100);
  const DiskInPlace in_place(recording);
  auto file = TakeFile::open(path_);
  ASSERT_TRUE(file) << file.error().message;
  for (int n = 1; n <= 8; ++n) {
    ASSERT_TRUE(file->apply(SetTitle{std::to_string(n)}));
    std::this_thread::sleep_for(std::chrono::milliseconds(130));
  }
  // Nobody closes or saves: the thread of the journal alone does it.
  std::this_thread::sleep_for(std::chrono::milliseconds(1000));
  const auto times = recording.times_until_synced(".journal");
  ASSERT_EQ(times.size(), 8U);
  for (const auto& time : times) EXPECT_LE(time, std::chrono::seconds(1));
}

TEST_F(PowerCut, a_file_replaced_is_the_old_one_or_the_new_one) {
  take::Take take = example_take();
  const fs::path path = folder_ / "disk" / "line.musicxml";
  ASSERT_TRUE(sheet::export_musicxml(take, path));
  const std::string old_bytes = bytes_of(path);
  take.title = "New";
  RecordingDisk recording(folder_ / "disk");
  {
    const DiskInPlace in_place(recording);
    ASSERT_TRUE(sheet::export_musicxml(take, path));
  }
  const std::string new_bytes = bytes_of(path);
  ASSERT_NE(old_bytes, new_bytes);
  for (std::size_t count = 0; count <= recording.change_count(); ++count) {
    for (int draw = 0; draw < 20; ++draw) {
      const fs::path place = empty_place();
      recording.lay_out(count, place, random_);
      const std::string now = bytes_of(place / "line.musicxml");
      ASSERT_TRUE(now == old_bytes || now == new_bytes) << "cut after change " << count;
      ASSERT_TRUE(now == new_bytes || count < recording.change_count()) << "it had returned";
    }
  }
}

}  // namespace
}  // namespace lowstride
