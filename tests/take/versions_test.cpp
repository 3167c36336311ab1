// Versions of a take that are kept when it is saved: how many, which, and the way back to them.
#include <chrono>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>

#include "src/take/storage.hpp"
#include "src/take/take_json.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;

using testing_help::example_take;

class Versions : public testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "line.take";
  }
  /// Saves versions titled 1 to `count`, a moment apart, so that their times differ.
  void save_versions(int count) {
    Take first = example_take();
    first.title = "1";
    auto file = TakeFile::create(path_, first);
    ASSERT_TRUE(file) << file.error().message;
    for (int i = 2; i <= count; ++i) {
      std::this_thread::sleep_for(std::chrono::milliseconds(12));
      ASSERT_TRUE(file->apply(SetTitle{std::to_string(i)}));
      const auto saved = file->save();
      ASSERT_TRUE(saved) << saved.error().message;
    }
  }
  [[nodiscard]] static std::string title_of(const fs::path& path) {
    const auto take = take_from_json(bytes_of(path), path.string());
    return take ? take->title : take.error().message;
  }
  [[nodiscard]] std::vector<std::string> titles() const {
    std::vector<std::string> found;
    for (const KeptVersion& version : kept_versions(path_)) found.push_back(title_of(version.path));
    return found;
  }
  [[nodiscard]] fs::path version(const std::string& title) const {
    for (const KeptVersion& one : kept_versions(path_)) {
      if (title_of(one.path) == title) return one.path;
    }
    return {};
  }

  fs::path path_;
};

TEST_F(Versions, are_kept_saved_last_first) {
  save_versions(4);
  EXPECT_EQ(title_of(path_), "4");
  EXPECT_THAT(titles(), testing::ElementsAre("3", "2", "1"));
  EXPECT_EQ(title_of(folder_ / "line.take.bak"), "3");
  const auto versions = kept_versions(path_);
  EXPECT_EQ(versions.front().path, folder_ / "line.take.bak");
  const auto now = std::chrono::duration_cast<std::chrono::seconds>(
                       std::chrono::system_clock::now().time_since_epoch())
                       .count();
  EXPECT_NEAR(static_cast<double>(versions.front().saved_unix_seconds), static_cast<double>(now),
              30.0);
}

TEST_F(Versions, are_bounded_and_the_oldest_goes) {
  save_versions(15);
  ASSERT_EQ(kept_versions(path_).size(), most_kept_versions);
  EXPECT_EQ(titles().front(), "14");
  EXPECT_EQ(titles().back(), "5");
  // The take, its versions, and nothing else.
  EXPECT_EQ(std::distance(fs::directory_iterator(folder_), fs::directory_iterator()),
            static_cast<std::ptrdiff_t>(most_kept_versions) + 1);
}

TEST_F(Versions, change_places_with_the_take_and_nothing_is_lost) {
  save_versions(5);
  const fs::path second = version("2");
  const auto swapped = swap_with_version(path_, second);
  ASSERT_TRUE(swapped) << swapped.error().message;
  EXPECT_EQ(load_take(path_)->take.title, "2");
  EXPECT_EQ(title_of(second), "5") << "what was the take lies where the version lay";
  EXPECT_THAT(titles(), testing::UnorderedElementsAre("5", "4", "3", "1"));
  EXPECT_EQ(titles().front(), "5") << "it was saved last";
  ASSERT_TRUE(swap_with_version(path_, second));
  EXPECT_EQ(load_take(path_)->take.title, "5");
}

TEST_F(Versions, saved_last_are_the_last_to_go_even_after_a_swap) {
  save_versions(11);
  // The newest work lies under the oldest name now.
  ASSERT_TRUE(swap_with_version(path_, version("1")));
  auto file = TakeFile::open(path_);
  ASSERT_TRUE(file);
  for (int i = 0; i < 3; ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(12));
    ASSERT_TRUE(file->apply(SetTitle{"again " + std::to_string(i)}));
    ASSERT_TRUE(file->save());
  }
  EXPECT_THAT(titles(), testing::Contains("11"));
  EXPECT_EQ(titles().size(), most_kept_versions);
}

TEST_F(Versions, are_not_swapped_where_edits_would_be_lost) {
  save_versions(3);
  {
    auto file = TakeFile::open(path_);
    ASSERT_TRUE(file->apply(SetTitle{"unsaved"}));
    EXPECT_EQ(swap_with_version(path_, version("1")).error().code, ErrorCode::conflict);
  }
  EXPECT_EQ(swap_with_version(path_, version("1")).error().code, ErrorCode::conflict)
      << "the journal holds the edit";
  EXPECT_EQ(swap_with_version(path_, folder_ / "line.take.bak-77").error().code,
            ErrorCode::not_found);
  EXPECT_EQ(load_take(path_)->take.title, "unsaved");
}

TEST_F(Versions, of_another_line_or_that_make_no_sense_are_refused) {
  save_versions(2);
  Take other = example_take();
  other.recording->content_hash = std::string(64, 'f');
  write_bytes(folder_ / "line.take.bak-2", take_to_json(other));
  write_bytes(folder_ / "line.take.bak-3", "{");
  EXPECT_EQ(swap_with_version(path_, folder_ / "line.take.bak-2").error().code,
            ErrorCode::conflict);
  EXPECT_EQ(swap_with_version(path_, folder_ / "line.take.bak-3").error().code, ErrorCode::damaged);
  EXPECT_EQ(title_of(path_), "2");
}

TEST_F(Versions, answer_for_a_damaged_take_the_newest_that_makes_sense) {
  save_versions(4);
  write_bytes(path_, "{");
  write_bytes(folder_ / "line.take.bak", "also damaged");
  const auto loaded = load_take(path_);
  ASSERT_TRUE(loaded) << loaded.error().message;
  EXPECT_EQ(loaded->take.title, "2");
  EXPECT_THAT(loaded->messages.front(), testing::HasSubstr("line.take.bak-"));
}

TEST_F(Versions, of_a_take_that_is_gone_are_set_aside_and_kept) {
  save_versions(4);
  fs::remove(path_);
  const auto file = TakeFile::create(path_, example_take());
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_TRUE(kept_versions(path_).empty());
  EXPECT_EQ(title_of(folder_ / "line.take.bak.old"), "3");
}

TEST_F(Versions, are_no_files_of_other_names) {
  save_versions(2);
  for (const char* name : {"line.take.bak-1", "line.take.bak-x", "line.take.bak-2x",
                           "line.take.bak--3", "other.take.bak-2", "line.take.bak-2.old"}) {
    write_bytes(folder_ / name, "x");
  }
  EXPECT_EQ(kept_versions(path_).size(), 1U);
}

}  // namespace
}  // namespace lowstride::take
