#include "tests/trust/failing_disk.hpp"

#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <condition_variable>
#include <csignal>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "src/audio/writer.hpp"
#include "src/base/atomic_file.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"
#include "src/take/take_json.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride {
namespace {

namespace fs = std::filesystem;
using take::SetTitle;
using take::TakeFile;
using take::testing_help::example_take;
using testing_help::FailingDisk;
using testing_help::is_one_clear_sentence;

class FailingDisks : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "line.take";
  }
  void begin_anew() {
    for (const auto& name : names()) fs::remove(folder_ / name);
  }
  [[nodiscard]] bool holds(const std::string& bytes) const {
    return std::ranges::any_of(
        names(), [&](const std::string& name) { return bytes_of(folder_ / name) == bytes; });
  }

  fs::path path_;
};

/// What each error number must be answered with.
struct Fault {
  int error_number;
  bool once;
  const char* cure;
};
constexpr std::array faults{Fault{ENOSPC, false, "free some space"},
                            Fault{ENOSPC, true, "free some space"},
                            Fault{EIO, true, "check the disk"}};

// Every call of a session of editing and saving fails in turn, for good and once: what was accepted
// is there at the next start, what was refused is not, and both are said.
TEST_F(FailingDisks, at_every_call_of_editing_and_saving_what_was_accepted_stays) {
  for (const Fault& fault : faults) {
    int calls = 1;  // up to the first that is not made any more
    int refusals = 0;
    for (int fails_from = 0; fails_from < calls; ++fails_from) {
      SCOPED_TRACE(testing::Message() << "call " << fails_from << ", error " << fault.error_number);
      begin_anew();
      { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
      std::string accepted = example_take().title;
      FailingDisk full;
      full.fails_from = fails_from;
      full.fails_once = fault.once;
      full.error_number = fault.error_number;
      const auto check = [&](const auto& outcome) {
        if (outcome) return true;
        ++refusals;
        EXPECT_TRUE(is_one_clear_sentence(outcome.error().message, "line.take", fault.cure))
            << outcome.error().message;
        return false;
      };
      {
        const DiskInPlace in_place(full);
        auto file = TakeFile::open(path_);
        if (check(file)) {
          for (int n = 1; n <= 6; ++n) {
            const std::string title = "title " + std::to_string(n);
            if (check(file->apply(SetTitle{title}))) accepted = title;
            EXPECT_EQ(file->take().title, accepted);
            if (n % 2 == 0) check(file->save());
          }
        }
      }
      if (full.call_count() > fails_from) calls = fails_from + 2;
      const auto file = TakeFile::open(path_);
      ASSERT_TRUE(file) << file.error().message;
      EXPECT_EQ(file->take().title, accepted);
      for (const auto& name : names()) EXPECT_TRUE(name.starts_with("line.take")) << name;
    }
    EXPECT_GT(calls, 20);
    EXPECT_GT(refusals, 15);
  }
}

TEST_F(FailingDisks, a_copy_or_a_step_back_loses_neither_version) {
  const std::string one = take::take_to_json(example_take());
  take::Take second = example_take();
  second.title = "Second";
  const std::string two = take::take_to_json(second);
  for (const bool can_exchange : {true, false}) {
    for (const bool can_link : {true, false}) {
      int calls = 1;
      for (int fails_from = 0; fails_from < calls; ++fails_from) {
        begin_anew();
        write_bytes(path_, one);
        write_bytes(folder_ / "line.take.bak", two);
        FailingDisk full;
        full.fails_from = fails_from;
        full.can_exchange = can_exchange;
        full.can_link = can_link;
        {
          const DiskInPlace in_place(full);
          const auto outcome = take::swap_with_version(path_, take::previous_version(path_));
          if (!outcome) {
            EXPECT_TRUE(is_one_clear_sentence(outcome.error().message, "line.take", ";"))
                << outcome.error().message;
          }
        }
        if (full.call_count() > fails_from) calls = fails_from + 2;
        EXPECT_TRUE(holds(one) && holds(two)) << "call " << fails_from;
        EXPECT_TRUE(take::load_take(path_));
      }
      EXPECT_GT(calls, 1);
    }
  }
  for (int fails_from = 0; fails_from < 12; ++fails_from) {
    begin_anew();
    write_bytes(path_, one);
    FailingDisk full;
    full.fails_from = fails_from;
    bool is_saved = false;
    {
      const DiskInPlace in_place(full);
      is_saved = take::save_copy(second, path_).has_value();
    }
    EXPECT_TRUE(holds(one));
    EXPECT_EQ(bytes_of(path_), is_saved ? two : one);
  }
}

// A save moves the versions before it along: whichever call fails, each is still there.
TEST_F(FailingDisks, a_save_that_fails_loses_no_version) {
  for (const bool can_link : {true, false}) {
    int calls = 1;
    for (int fails_from = 0; fails_from < calls; ++fails_from) {
      SCOPED_TRACE(testing::Message() << "call " << fails_from << ", links " << can_link);
      begin_anew();
      std::vector<std::string> versions;
      {
        auto file = TakeFile::create(path_, example_take());
        ASSERT_TRUE(file);
        for (const char* title : {"one", "two", "three"}) {
          ASSERT_TRUE(file->apply(SetTitle{title}));
          ASSERT_TRUE(file->save());
          versions.push_back(bytes_of(path_));
        }
      }
      FailingDisk full;
      full.fails_from = fails_from;
      full.can_link = can_link;
      {
        const DiskInPlace in_place(full);
        auto file = TakeFile::open(path_);
        if (file && file->apply(SetTitle{"four"})) static_cast<void>(file->save());
      }
      if (full.call_count() > fails_from) calls = fails_from + 2;
      for (const std::string& version : versions) EXPECT_TRUE(holds(version));
      EXPECT_TRUE(take::load_take(path_));
    }
    EXPECT_GT(calls, 10);
  }
}

Result<void> write_sound(const fs::path& path) {
  audio::WriteOptions options;
  options.channel_count = 1;
  auto writer = audio::AudioWriter::create(path, options);
  if (!writer) return tl::unexpected(writer.error());
  std::vector<float> sound(48000);
  for (std::size_t i = 0; i < sound.size(); ++i) sound[i] = static_cast<float>(i % 97) / 97.0F;
  const std::vector<const float*> channels{sound.data()};
  for (int second = 0; second < 3; ++second) {
    if (auto done = (*writer)->write({channels, sound.size()}); !done) return done;
  }
  return (*writer)->commit();
}

struct Export {
  const char* name;  // of the file, or of the first of several
  Result<void> (*write)(const take::Take& take, const fs::path& path);
};
constexpr std::array exports{
    Export{"line.txt",
           [](const take::Take& take, const fs::path& path) {
             return write_file_atomically(path, sheet::render_text_tab(take));
           }},
    Export{"line.musicxml",
           [](const take::Take& take, const fs::path& path) {
             return sheet::export_musicxml(take, path);
           }},
    Export{"line.mid", [](const take::Take& take,
                          const fs::path& path) { return sheet::export_midi(take, path); }},
    Export{"line.notes.tsv",
           [](const take::Take& take, const fs::path& path) {
             return sheet::export_tables(take, path.parent_path() / "line");
           }},
    Export{"line.wav", [](const take::Take&, const fs::path& path) { return write_sound(path); }},
    Export{"line.flac", [](const take::Take&, const fs::path& path) { return write_sound(path); }},
    Export{"line.ogg", [](const take::Take&, const fs::path& path) { return write_sound(path); }},
};

TEST_F(FailingDisks, an_export_is_whole_or_not_there_and_leaves_nothing_else) {
  const take::Take take = example_take();
  for (const Export& one : exports) {
    SCOPED_TRACE(one.name);
    ASSERT_TRUE(one.write(take, folder_ / one.name));
    const std::string whole = bytes_of(folder_ / one.name);
    const auto whole_names = names();
    const auto before = [&] {
      for (const auto& name : whole_names) write_bytes(folder_ / name, "from before");
    };
    int calls = 1;
    for (int fails_from = 0; fails_from < calls; ++fails_from) {
      before();
      FailingDisk full;
      full.fails_from = fails_from;
      const DiskInPlace in_place(full);
      const auto outcome = one.write(take, folder_ / one.name);
      if (full.call_count() > fails_from) calls = fails_from + 2;
      if (!outcome) {
        EXPECT_TRUE(is_one_clear_sentence(outcome.error().message, "line.", "free some space"))
            << outcome.error().message;
      }
      EXPECT_EQ(names(), whole_names);
      const std::string now = bytes_of(folder_ / one.name);
      EXPECT_TRUE(now == "from before" || now.size() == whole.size()) << now.size();
    }
    EXPECT_GT(calls, 3);
    begin_anew();
  }
}

// The same for real: a limit on the size of files, as `ulimit -f` sets it.
TEST_F(FailingDisks, a_limit_on_file_sizes_stops_an_export_with_a_sentence) {
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{1000, 1000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    const take::Take take = example_take();
    int refused = 0;
    for (const Export& one : exports) {
      const auto outcome = one.write(take, folder_ / one.name);
      if (outcome) continue;
      if (!is_one_clear_sentence(outcome.error().message, "line.", "free some space")) ::_exit(100);
      ++refused;
    }
    ::_exit(refused);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 6) << "all but the MIDI file, which has fewer bytes";
  EXPECT_EQ(names(), std::set<std::string>{"line.mid"});
}

/// A sync that lasts until the test has seen that edits go on meanwhile.
class HeldDisk : public Disk {
 public:
  int sync(int file) override {
    std::unique_lock lock(mutex_);
    is_syncing_ = true;
    changed_.notify_all();
    changed_.wait(lock, [&] { return is_free_; });
    lock.unlock();
    return Disk::sync(file);
  }
  bool wait_for_sync() {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, std::chrono::seconds(20), [&] { return is_syncing_; });
  }
  void set_free() {
    const std::scoped_lock lock(mutex_);
    is_free_ = true;
    changed_.notify_all();
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  bool is_syncing_ = false;
  bool is_free_ = false;
};

TEST_F(FailingDisks, nobody_waits_for_a_slow_disk_while_editing) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  HeldDisk slow;
  const DiskInPlace in_place(slow);
  auto file = TakeFile::open(path_);
  ASSERT_TRUE(file) << file.error().message;
  ASSERT_TRUE(file->apply(SetTitle{"first"}));
  ASSERT_TRUE(slow.wait_for_sync());
  for (int n = 0; n < 50; ++n) EXPECT_TRUE(file->apply(SetTitle{std::to_string(n)}));
  slow.set_free();
  EXPECT_TRUE(file->sync());
}

/// A disk that forgets what it could not sync, as Linux does (Rebello et al., "Can applications
/// recover from fsync failures?", USENIX ATC 2020): a later sync that succeeds says nothing of it.
class ForgetfulDisk : public Disk {
 public:
  int failures = 0;
  std::string medium;  // of the journal

  ssize_t write_at(int file, const void* bytes, std::size_t count, off_t offset) override {
    waiting_.push_back(
        {std::string(static_cast<const char*>(bytes), count), static_cast<std::size_t>(offset)});
    return Disk::write_at(file, bytes, count, offset);
  }
  int sync(int file) override {
    if (failures > 0) {
      --failures;
      waiting_.clear();
      errno = EIO;
      return -1;
    }
    for (const auto& [bytes, offset] : waiting_) {
      if (medium.size() < offset + bytes.size()) medium.resize(offset + bytes.size());
      medium.replace(offset, bytes.size(), bytes);
    }
    waiting_.clear();
    return Disk::sync(file);
  }

 private:
  std::vector<std::pair<std::string, std::size_t>> waiting_;
};

TEST_F(FailingDisks, what_a_failed_sync_dropped_is_written_again) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  ForgetfulDisk forgetful;
  const DiskInPlace in_place(forgetful);
  auto file = TakeFile::open(path_);
  ASSERT_TRUE(file) << file.error().message;
  ASSERT_TRUE(file->apply(SetTitle{"one"}));
  ASSERT_TRUE(file->sync());
  ASSERT_TRUE(file->apply(SetTitle{"two"}));
  forgetful.failures = 1;
  const auto refused = file->sync();
  ASSERT_FALSE(refused);
  EXPECT_TRUE(
      is_one_clear_sentence(refused.error().message, "line.take.journal", "check the disk"));
  ASSERT_TRUE(file->apply(SetTitle{"three"}));
  ASSERT_TRUE(file->sync());
  EXPECT_EQ(forgetful.medium, bytes_of(folder_ / "line.take.journal"));
  EXPECT_NE(forgetful.medium.find("two"), std::string::npos);
}

TEST_F(FailingDisks, who_may_not_read_a_take_may_not_read_its_edits) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  ASSERT_EQ(::chmod(path_.c_str(), 0600), 0);
  const auto permissions = [&](const char* name) {
    struct stat status {};
    EXPECT_EQ(::stat((folder_ / name).c_str(), &status), 0) << name;
    return status.st_mode & 07777U;
  };
  std::string journal;
  {
    auto file = TakeFile::open(path_);
    ASSERT_TRUE(file->apply(SetTitle{"a"}));
    EXPECT_EQ(permissions("line.take.journal"), 0600U);
    ASSERT_TRUE(file->save());
    EXPECT_EQ(permissions("line.take"), 0600U);
    EXPECT_EQ(permissions("line.take.bak"), 0600U);
    ASSERT_TRUE(file->apply(SetTitle{"b"}));
  }
  journal = bytes_of(folder_ / "line.take.journal");
  write_bytes(folder_ / "line.take.journal", journal + "damaged\n");
  { ASSERT_TRUE(TakeFile::open(path_)); }
  EXPECT_EQ(permissions("line.take.journal.damaged"), 0600U);
}

TEST_F(FailingDisks, what_a_killed_writer_left_goes_and_what_a_living_one_writes_stays) {
  int ends[2];
  ASSERT_EQ(::pipe(ends), 0);
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    auto pending = PendingFile::create(folder_ / "slow.wav");
    const bool is_good = pending && pending->write("half");
    static_cast<void>(::write(ends[1], &is_good, sizeof is_good));
    ::pause();
    ::_exit(0);
  }
  bool is_good = false;
  ASSERT_EQ(::read(ends[0], &is_good, sizeof is_good), static_cast<ssize_t>(sizeof is_good));
  EXPECT_TRUE(is_good);
  write_bytes(folder_ / ".mine.lowstride-notes.txt", "no working file of ours");
  ASSERT_EQ(names().size(), 2U);
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  EXPECT_EQ(names().size(), 3U) << "the living writer's file is gone";
  ::kill(child, SIGKILL);
  ASSERT_EQ(::waitpid(child, nullptr, 0), child);
  { ASSERT_TRUE(TakeFile::open(path_)); }
  EXPECT_EQ(names(), (std::set<std::string>{".mine.lowstride-notes.txt", "line.take"}));
  ::close(ends[0]);
  ::close(ends[1]);
}

TEST_F(FailingDisks, a_pipe_or_a_device_is_not_replaced_by_a_file) {
  const fs::path pipe = folder_ / "line.txt";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  const auto outcome = write_file_atomically(pipe, "whole");
  ASSERT_FALSE(outcome);
  EXPECT_TRUE(is_one_clear_sentence(outcome.error().message, "line.txt", "name a file"));
  EXPECT_TRUE(fs::is_fifo(pipe));
}

TEST_F(FailingDisks, a_name_as_long_as_names_may_be_can_be_written) {
  const fs::path longest = folder_ / (std::string(250, 'x') + ".take");
  EXPECT_TRUE(write_file_atomically(longest, "whole"));
  EXPECT_EQ(bytes_of(longest), "whole");
  const auto outcome = write_file_atomically(folder_ / (std::string(251, 'x') + ".take"), "");
  ASSERT_FALSE(outcome);
  EXPECT_NE(outcome.error().message.find("choose a shorter name"), std::string::npos);
}

}  // namespace
}  // namespace lowstride
