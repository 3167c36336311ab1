#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <random>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

#include "src/take/storage.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;
using testing_help::EditMaker;
using testing_help::example_take;
using testing_help::FolderTest;

class Damage : public FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "line.take";
  }

  std::string mutant(std::string bytes) {
    const auto number = [&](std::size_t below) {
      return std::uniform_int_distribution<std::size_t>(0, below - 1)(random_);
    };
    switch (number(5)) {
      case 0:
        bytes.resize(number(bytes.size()));
        break;
      case 1:
        bytes.erase(number(bytes.size()), 1 + number(200));
        break;
      case 2: {
        const std::string part = bytes.substr(number(bytes.size()), 1 + number(300));
        bytes.insert(number(bytes.size()), part);
        break;
      }
      default: {
        const std::size_t count = 1 + number(8);
        for (std::size_t i = 0; i < count; ++i) {
          bytes[number(bytes.size())] = static_cast<char>(number(256));
        }
      }
    }
    return bytes;
  }

  std::mt19937 random_{20240607};
  fs::path path_;
};

// Each mutant opens, is answered from the version before with a message, or is refused; whatever
// happens, nothing on disk is replaced by looking at it.
TEST_F(Damage, a_damaged_take_opens_is_repaired_or_is_refused) {
  Take take = example_take();
  EditMaker maker(5);
  for (int i = 0; i < 60; ++i) static_cast<void>(take::apply(take, maker.make(take)));
  const std::string good = take_to_json(take);
  int opened = 0;
  int refused = 0;
  for (int i = 0; i < 3000; ++i) {
    const std::string bytes = mutant(good);
    const auto outcome = take_from_json(bytes, "line.take");
    if (outcome) {
      ASSERT_TRUE(check_take(*outcome)) << check_take(*outcome).error().message;
      const auto again = take_from_json(take_to_json(*outcome), "line.take");
      ASSERT_TRUE(again) << again.error().message;
      ASSERT_EQ(*again, *outcome);
      ++opened;
    } else {
      ASSERT_FALSE(outcome.error().message.empty());
      ++refused;
    }
  }
  EXPECT_GT(opened, 50);
  EXPECT_GT(refused, 1000);
}

TEST_F(Damage, damaged_files_of_a_take_are_never_written_over_by_opening) {
  const std::string good = take_to_json(example_take());
  std::string journal;
  {
    auto file = TakeFile::create(path_, example_take());
    ASSERT_TRUE(file) << file.error().message;
    EditMaker maker(6);
    for (int i = 0; i < 30; ++i) static_cast<void>(file->apply(maker.make(file->take())));
    journal = bytes_of(folder_ / "line.take.journal");
  }
  ASSERT_GT(journal.size(), 1000U);
  for (int i = 0; i < 400; ++i) {
    for (const auto& name : names()) fs::remove(folder_ / name);
    const bool is_take_damaged = i % 2 == 0;
    const std::string take_bytes = is_take_damaged ? mutant(good) : good;
    const std::string journal_bytes = mutant(journal);
    write_bytes(path_, take_bytes);
    write_bytes(folder_ / "line.take.journal", journal_bytes);
    if (i % 3 != 0) write_bytes(folder_ / "line.take.bak", good);
    const auto read = load_take(path_);
    const auto file = TakeFile::open(path_);
    ASSERT_EQ(read.has_value(), file.has_value());
    ASSERT_EQ(bytes_of(path_), take_bytes);
    if (i % 3 != 0) {
      ASSERT_EQ(bytes_of(folder_ / "line.take.bak"), good);
    }
    if (!file) {
      ASSERT_EQ(bytes_of(folder_ / "line.take.journal"), journal_bytes);
      continue;
    }
    ASSERT_EQ(read->take, file->take());
    ASSERT_TRUE(check_take(file->take()));
    // Either the journal still holds all its edits, or the bytes are kept, or a torn end was cut.
    const std::string now = bytes_of(folder_ / "line.take.journal");
    const bool is_kept = std::ranges::any_of(names(), [&](const std::string& name) {
      return (name.find(".damaged") != std::string::npos ||
              name.find(".old") != std::string::npos) &&
             bytes_of(folder_ / name) == journal_bytes;
    });
    ASSERT_TRUE(is_kept || journal_bytes.starts_with(now)) << i;
    if (!is_kept) {
      const std::size_t end = journal_bytes.rfind('\n') + 1;  // 0 without a whole line
      if (end > now.size()) {
        ASSERT_EQ(journal_bytes.substr(now.size(), end - now.size()).find("\"step\""),
                  std::string::npos)
            << "whole edits were cut";
      }
    }
  }
}

// What a power cut leaves of a journal: it ends anywhere. Every edit whose line is whole is there.
TEST_F(Damage, a_journal_cut_anywhere_gives_all_edits_before_the_cut) {
  std::vector<std::size_t> ends;
  std::string journal;
  {
    auto file = TakeFile::create(path_, example_take());
    ASSERT_TRUE(file) << file.error().message;
    for (int n = 1; n <= 12; ++n) {
      ASSERT_TRUE(file->apply(SetTitle{std::to_string(n)}));
      ends.push_back(fs::file_size(folder_ / "line.take.journal"));
    }
    journal = bytes_of(folder_ / "line.take.journal");
  }
  for (std::size_t length = 0; length <= journal.size(); ++length) {
    write_bytes(folder_ / "line.take.journal", journal.substr(0, length));
    const auto whole = std::ranges::count_if(ends, [&](std::size_t end) { return end <= length; });
    const auto loaded = load_take(path_);
    ASSERT_TRUE(loaded) << loaded.error().message;
    ASSERT_EQ(loaded->take.title, whole == 0 ? "Harbour Steps" : std::to_string(whole));
  }
}

// A process that edits and saves without pause is killed at random moments. Edit number n sets the
// title "n" and writes n to a pipe once `apply` has returned: the take must hold that or a later
// one.
TEST_F(Damage, killed_at_any_moment_no_edit_is_lost) {
  { ASSERT_TRUE(TakeFile::create(path_, example_take())); }
  int reached = 0;
  for (int round = 0; round < 40; ++round) {
    SCOPED_TRACE(testing::Message() << "round " << round);
    int ends[2];
    ASSERT_EQ(::pipe(ends), 0);
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      ::close(ends[0]);
      auto file = TakeFile::open(path_);
      if (!file) ::_exit(1);
      for (int n = reached + 1;; ++n) {
        if (!file->apply(SetTitle{std::to_string(n)})) ::_exit(2);
        if (::write(ends[1], &n, sizeof n) != sizeof n) ::_exit(3);
        if (n % 3 == 0 && !file->save()) ::_exit(4);
      }
    }
    ::close(ends[1]);
    int last = reached;
    // Not before it has begun: then a random time, from nothing to some saves.
    ASSERT_EQ(::read(ends[0], &last, sizeof last), static_cast<ssize_t>(sizeof last));
    std::this_thread::sleep_for(
        std::chrono::microseconds(std::uniform_int_distribution<int>(0, 30'000)(random_)));
    ::kill(child, SIGKILL);
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    ASSERT_TRUE(WIFSIGNALED(status)) << "the child gave up with " << WEXITSTATUS(status);
    for (int n = 0; ::read(ends[0], &n, sizeof n) == sizeof n;) last = n;
    ::close(ends[0]);
    auto file = TakeFile::open(path_);
    ASSERT_TRUE(file) << file.error().message;
    const int found = std::stoi(file->take().title);
    EXPECT_GE(found, last);
    EXPECT_LE(found, last + 1);
    reached = found;
    for (const auto& name : names()) {
      EXPECT_TRUE(name == "line.take" || name == "line.take.journal" ||
                  name.starts_with("line.take.bak"))
          << name << " was left behind";
    }
  }
  EXPECT_GT(reached, 40);
}

}  // namespace
}  // namespace lowstride::take
