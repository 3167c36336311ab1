#include "src/base/atomic_file.hpp"

#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <fstream>

#include <gtest/gtest.h>

namespace lowstride {
namespace {

namespace fs = std::filesystem;

class AtomicFile : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (fs::temp_directory_path() / "lowstride-test-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder_ = pattern;
  }
  void TearDown() override { fs::remove_all(folder_); }

  [[nodiscard]] std::string contents(const fs::path& path) const {
    const auto text = read_small_file(path, 1U << 24U);
    return text ? *text : "unreadable: " + text.error().message;
  }
  [[nodiscard]] std::size_t file_count() const {
    std::size_t count = 0;
    for ([[maybe_unused]] const auto& entry : fs::directory_iterator(folder_)) ++count;
    return count;
  }

  fs::path folder_;
};

TEST_F(AtomicFile, replaces_the_whole_contents_and_keeps_permissions) {
  const fs::path path = folder_ / "line.take";
  ASSERT_TRUE(write_file_atomically(path, "first, and longer"));
  ASSERT_EQ(::chmod(path.c_str(), 0640), 0);
  ASSERT_TRUE(write_file_atomically(path, "second"));
  EXPECT_EQ(contents(path), "second");
  struct stat status {};
  ASSERT_EQ(::stat(path.c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 07777U, 0640U);
  EXPECT_EQ(file_count(), 1U);
}

TEST_F(AtomicFile, writes_through_a_symbolic_link) {
  const fs::path real = folder_ / "real.take";
  ASSERT_TRUE(write_file_atomically(real, "old"));
  fs::create_symlink("real.take", folder_ / "link.take");
  ASSERT_TRUE(write_file_atomically(folder_ / "link.take", "new"));
  EXPECT_EQ(contents(real), "new");
  EXPECT_TRUE(fs::is_symlink(folder_ / "link.take"));
}

TEST_F(AtomicFile, a_folder_that_is_missing_is_named_with_the_cure) {
  const auto outcome = write_file_atomically(folder_ / "nowhere" / "line.take", "x");
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().code, ErrorCode::cannot_write);
  EXPECT_NE(outcome.error().message.find("line.take"), std::string::npos);
  EXPECT_NE(outcome.error().message.find("create its folder first"), std::string::npos);
}

// A full disk, provoked for real by a limit on file size in a child process.
TEST_F(AtomicFile, a_write_that_fails_half_way_leaves_the_old_file_and_nothing_else) {
  const fs::path path = folder_ / "line.take";
  ASSERT_TRUE(write_file_atomically(path, "the old line"));
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{4096, 4096};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    const auto outcome = write_file_atomically(path, std::string(100000, 'x'));
    ::_exit(!outcome && outcome.error().code == ErrorCode::cannot_write ? 0 : 1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_EQ(status, 0);
  EXPECT_EQ(contents(path), "the old line");
  EXPECT_EQ(file_count(), 1U);
}

TEST_F(AtomicFile, a_pending_file_vanishes_unless_it_is_committed) {
  const fs::path target = folder_ / "slow.wav";
  {
    auto file = PendingFile::create(target);
    ASSERT_TRUE(file);
    ASSERT_TRUE(file->write("half"));
    ASSERT_EQ(file_count(), 1U);
    EXPECT_EQ(fs::directory_iterator(folder_)->path().extension(), ".wav");
  }
  EXPECT_EQ(file_count(), 0U);
  auto file = PendingFile::create(target);
  ASSERT_TRUE(file);
  ASSERT_TRUE(file->write("who"));
  ASSERT_TRUE(file->write("le"));
  ASSERT_TRUE(file->commit());
  EXPECT_EQ(contents(target), "whole");
  EXPECT_EQ(file_count(), 1U);
}

TEST_F(AtomicFile, reading_refuses_what_is_too_large_missing_or_a_folder) {
  const fs::path path = folder_ / "big";
  ASSERT_TRUE(write_file_atomically(path, std::string(100000, 'x')));
  EXPECT_EQ(read_small_file(path, 50000).error().code, ErrorCode::unsupported);
  EXPECT_EQ(read_small_file(folder_ / "none", 100).error().code, ErrorCode::not_found);
  EXPECT_EQ(read_small_file(folder_, 100).error().code, ErrorCode::unreadable);
}

}  // namespace
}  // namespace lowstride
