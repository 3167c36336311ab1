// The drill history is written by SQLite, which has a layer below it of its own (sqlite3_vfs); the
// failing and the forgetting disk are put in there.
#include <sqlite3.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <fstream>
#include <map>
#include <string>

#include <gtest/gtest.h>

#include "src/drill/history.hpp"
#include "tests/take/temporary_folder.hpp"
#include "tests/trust/failing_disk.hpp"

namespace lowstride::drill {
namespace {

namespace fs = std::filesystem;

/// What the layer does and has seen; SQLite's calls are plain functions.
struct Layer {
  int fails_from = -1;  // number of the write, sync or truncation from which on the disk is full
  int call_count = 0;
  std::map<std::string, std::string> synced;  // what each file held when it was last synced

  bool fails() {
    const int number = call_count++;
    return fails_from >= 0 && number >= fails_from;
  }
};
Layer layer;

/// SQLite's own file behind ours; its methods do the work.
struct LayerFile {
  sqlite3_file base;
  const char* name;
  sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
LayerFile& of(sqlite3_file* file) { return *reinterpret_cast<LayerFile*>(file); }

template <auto Method, typename... Arguments>
auto forward(sqlite3_file* file, Arguments... arguments) {
  sqlite3_file* real = of(file).real();
  return (real->pMethods->*Method)(real, arguments...);
}

int layer_write(sqlite3_file* file, const void* bytes, int count, sqlite3_int64 offset) {
  if (layer.fails()) return SQLITE_FULL;
  return forward<&sqlite3_io_methods::xWrite>(file, bytes, count, offset);
}
int layer_truncate(sqlite3_file* file, sqlite3_int64 size) {
  if (layer.fails()) return SQLITE_IOERR_TRUNCATE;
  return forward<&sqlite3_io_methods::xTruncate>(file, size);
}
int layer_sync(sqlite3_file* file, int flags) {
  if (layer.fails()) return SQLITE_IOERR_FSYNC;
  if (of(file).name != nullptr) {
    std::ifstream stream(of(file).name, std::ios::binary);
    layer.synced[of(file).name] = {std::istreambuf_iterator<char>(stream), {}};
  }
  return forward<&sqlite3_io_methods::xSync>(file, flags);
}

const sqlite3_io_methods layer_methods{
    3,
    [](sqlite3_file* f) { return forward<&sqlite3_io_methods::xClose>(f); },
    [](sqlite3_file* f, void* to, int count, sqlite3_int64 offset) {
      return forward<&sqlite3_io_methods::xRead>(f, to, count, offset);
    },
    layer_write,
    layer_truncate,
    layer_sync,
    [](sqlite3_file* f, sqlite3_int64* size) {
      return forward<&sqlite3_io_methods::xFileSize>(f, size);
    },
    [](sqlite3_file* f, int lock) { return forward<&sqlite3_io_methods::xLock>(f, lock); },
    [](sqlite3_file* f, int lock) { return forward<&sqlite3_io_methods::xUnlock>(f, lock); },
    [](sqlite3_file* f, int* result) {
      return forward<&sqlite3_io_methods::xCheckReservedLock>(f, result);
    },
    [](sqlite3_file* f, int op, void* value) {
      return forward<&sqlite3_io_methods::xFileControl>(f, op, value);
    },
    [](sqlite3_file* f) { return forward<&sqlite3_io_methods::xSectorSize>(f); },
    [](sqlite3_file* f) { return forward<&sqlite3_io_methods::xDeviceCharacteristics>(f); },
    [](sqlite3_file* f, int page, int size, int extend, void volatile** out) {
      return forward<&sqlite3_io_methods::xShmMap>(f, page, size, extend, out);
    },
    [](sqlite3_file* f, int offset, int count, int flags) {
      return forward<&sqlite3_io_methods::xShmLock>(f, offset, count, flags);
    },
    [](sqlite3_file* f) { forward<&sqlite3_io_methods::xShmBarrier>(f); },
    [](sqlite3_file* f, int remove) { return forward<&sqlite3_io_methods::xShmUnmap>(f, remove); },
    [](sqlite3_file* f, sqlite3_int64 offset, int count, void** out) {
      return forward<&sqlite3_io_methods::xFetch>(f, offset, count, out);
    },
    [](sqlite3_file* f, sqlite3_int64 offset, void* from) {
      return forward<&sqlite3_io_methods::xUnfetch>(f, offset, from);
    },
};

/// The layer in its place for as long as this lives.
class LayerInPlace {
 public:
  LayerInPlace() : real_(sqlite3_vfs_find(nullptr)), own_(*real_) {
    layer = {};
    own_.zName = "lowstride-test";
    own_.szOsFile = static_cast<int>(sizeof(LayerFile)) + real_->szOsFile;
    own_.pAppData = real_;
    own_.xOpen = [](sqlite3_vfs* vfs, const char* name, sqlite3_file* file, int flags, int* out) {
      auto* real = static_cast<sqlite3_vfs*>(vfs->pAppData);
      of(file).name = name;
      const int code = real->xOpen(real, name, of(file).real(), flags, out);
      file->pMethods = of(file).real()->pMethods != nullptr ? &layer_methods : nullptr;
      return code;
    };
    sqlite3_vfs_register(&own_, 1);
  }
  LayerInPlace(const LayerInPlace&) = delete;
  LayerInPlace& operator=(const LayerInPlace&) = delete;
  ~LayerInPlace() {
    sqlite3_vfs_register(real_, 1);
    sqlite3_vfs_unregister(&own_);
  }

 private:
  sqlite3_vfs* real_;
  sqlite3_vfs own_;
};

constexpr UnixSeconds start = 1'760'000'000;

class HistoryDisk : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "Mia.history";
    item_.key = "take:note:7";
    item_.take_key = "take";
  }
  [[nodiscard]] AnswerRecord answer(int number) const {
    AnswerRecord record;
    record.item_key = item_.key;
    record.take_key = item_.take_key;
    record.answered_at = start + number;
    record.grade = Grade::slow;
    record.notes.resize(3);
    return record;
  }
  /// Numbers of the answers that are there.
  [[nodiscard]] static std::vector<int> numbers_in(const fs::path& path) {
    std::vector<int> numbers;
    const auto history = History::open(path);
    EXPECT_TRUE(history) << history.error().message;
    if (!history) return numbers;
    EXPECT_TRUE(history->messages().empty()) << history->messages().front();
    const auto answers = history->answers();
    EXPECT_TRUE(answers);
    if (answers) {
      for (const auto& one : *answers) {
        EXPECT_EQ(one.notes.size(), 3U) << "half an answer";
        numbers.push_back(static_cast<int>(one.answered_at - start));
      }
    }
    return numbers;
  }

  fs::path path_;
  Item item_;
};

TEST_F(HistoryDisk, an_answer_refused_by_a_full_disk_is_said_and_the_others_stay) {
  int refusals = 0;
  int reached = 1;
  for (int fails_from = 0; fails_from < reached; ++fails_from) {
    SCOPED_TRACE(testing::Message() << "call " << fails_from);
    for (const auto& name : names()) fs::remove(folder_ / name);
    { ASSERT_TRUE(History::open(path_)); }
    std::vector<int> accepted;
    {
      const LayerInPlace in_place;
      layer.fails_from = fails_from;
      auto history = History::open(path_);
      for (int n = 0; n < 4 && history; ++n) {
        const auto outcome = history->record(item_, answer(n));
        if (outcome) {
          accepted.push_back(n);
          continue;
        }
        ++refusals;
        EXPECT_TRUE(testing_help::is_one_clear_sentence(outcome.error().message, "Mia.history",
                                                        "try again") ||
                    testing_help::is_one_clear_sentence(outcome.error().message, "Mia.history",
                                                        "look at its folder"))
            << outcome.error().message;
      }
      if (layer.call_count > fails_from) reached = fails_from + 2;
    }
    // Of an answer that was written and whose sync failed nobody knows: it may be there.
    std::vector<int> found = numbers_in(path_);
    if (found.size() == accepted.size() + 1) found.pop_back();
    EXPECT_EQ(found, accepted);
  }
  EXPECT_GT(reached, 10);
  EXPECT_GT(refusals, 10);
}

// What was synced and nothing else: an answer is on the medium when `record` returns, so a power
// cut loses none.
TEST_F(HistoryDisk, a_power_cut_loses_no_answer_that_was_recorded) {
  const fs::path after = folder_ / "after";
  {
    const LayerInPlace in_place;
    auto history = History::open(path_);
    ASSERT_TRUE(history) << history.error().message;
    for (int n = 0; n < 6; ++n) {
      ASSERT_TRUE(history->record(item_, answer(n)));
      fs::remove_all(after);
      fs::create_directory(after);
      for (const auto& [name, bytes] : layer.synced) {
        // Not those of the copies that were looked at, and none that was deleted since.
        if (fs::path(name).parent_path() != folder_ || !fs::exists(name)) continue;
        write_bytes(after / fs::path(name).filename(), bytes);
      }
      std::vector<int> expected(static_cast<std::size_t>(n) + 1);
      for (int i = 0; i <= n; ++i) expected[static_cast<std::size_t>(i)] = i;
      EXPECT_EQ(numbers_in(after / "Mia.history"), expected);
    }
  }
}

// A full disk for real, by a limit on file sizes in a child process.
TEST_F(HistoryDisk, a_limit_on_file_sizes_refuses_answers_with_a_sentence) {
  { ASSERT_TRUE(History::open(path_)); }
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{100'000, 100'000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    auto history = History::open(path_);
    if (!history) ::_exit(101);
    int accepted = 0;
    for (;; ++accepted) {
      const auto outcome = history->record(item_, answer(accepted));
      if (outcome) continue;
      if (!testing_help::is_one_clear_sentence(outcome.error().message, "Mia.history", ";")) {
        ::_exit(102);
      }
      ::_exit(accepted);
    }
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFEXITED(status));
  const int accepted = WEXITSTATUS(status);
  EXPECT_GT(accepted, 0);
  EXPECT_LT(accepted, 100);
  EXPECT_EQ(numbers_in(path_).size(), static_cast<std::size_t>(accepted));
}

// A clock set back, by a year and by centuries, and forth again.
TEST_F(HistoryDisk, a_clock_that_jumps_gives_no_negative_days_and_no_answer_is_lost) {
  auto history = History::open(path_);
  ASSERT_TRUE(history) << history.error().message;
  constexpr UnixSeconds day = 86'400;
  int count = 0;
  for (const UnixSeconds now :
       {start, start - 365 * day, start - 200'000 * day, start + 200'000 * day, start + day}) {
    AnswerRecord record = answer(0);
    record.answered_at = now;
    const auto state = history->record(item_, record);
    ASSERT_TRUE(state) << state.error().message;
    EXPECT_EQ(state->answer_count, ++count);
    EXPECT_GE(state->due_at, now);
    EXPECT_LE(state->due_at, now + 36'500 * day);
  }
  const auto answers = history->answers();
  ASSERT_TRUE(answers);
  for (const auto& one : *answers) EXPECT_GE(one.days, 0);
}

}  // namespace
}  // namespace lowstride::drill
