#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <csignal>
#include <fstream>
#include <iterator>
#include <optional>
#include <sstream>
#include <string>
#include <thread>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

namespace fs = std::filesystem;

class Batch : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    fs::create_directories(folder_ / "band" / "old");
  }
  /// A short line; another seed, other notes.
  void recording(const std::string& name, int seed, double seconds = 6.0) const {
    std::vector<Pluck> line;
    for (int i = 0; 0.5 * i + 1.0 < seconds; ++i) {
      line.push_back({0.5 + 0.5 * i, 0.45, 30 + (i * 5 + seed) % 12});
    }
    write_wav(folder_ / "band" / name, plucked_line(line, seconds));
  }
  void no_recording(const std::string& name) const {
    std::ofstream(folder_ / "band" / name) << "this is no sound\n";
  }
  [[nodiscard]] bool has(const std::string& name) const { return fs::exists(folder_ / name); }
};

std::string row(const std::string& table, const std::string& name) {
  std::istringstream lines(table);
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with(name + " ")) return line;
  }
  return {};
}

TEST_F(Batch, one_bad_file_leaves_the_others_alone_and_a_second_run_does_only_what_is_left) {
  recording("a.wav", 0);
  recording("old/b.WAV", 3);
  no_recording("c.wav");
  no_recording("notes.txt");
  const Outcome first = run({"lift", in_folder("band"), "--jobs", "2"});
  EXPECT_EQ(first.exit_code, 1);
  EXPECT_TRUE(row(first.out, "a.wav").ends_with("lifted")) << first.out;
  EXPECT_TRUE(row(first.out, "old/b.WAV").ends_with("lifted")) << first.out;
  EXPECT_TRUE(row(first.out, "c.wav").ends_with("failed")) << first.out;
  EXPECT_NE(first.out.find("2 lifted, 0 unchanged, 1 failed"), std::string::npos) << first.out;
  EXPECT_EQ(first.out.find("notes.txt"), std::string::npos) << first.out;
  EXPECT_EQ(line_count(first.err), 1U) << first.err;
  EXPECT_NE(first.err.find("c.wav"), std::string::npos) << first.err;
  EXPECT_TRUE(has("band/a.take") && has("band/old/b.take") && !has("band/c.take"));

  const auto written = fs::last_write_time(folder_ / "band/a.take");
  recording("c.wav", 7);
  const Outcome second = run({"lift", in_folder("band")});
  EXPECT_EQ(second.exit_code, 0) << second.err;
  EXPECT_TRUE(row(second.out, "a.wav").ends_with("unchanged")) << second.out;
  EXPECT_TRUE(row(second.out, "c.wav").ends_with("lifted")) << second.out;
  EXPECT_NE(second.out.find("1 lifted, 2 unchanged (--again lifts them anew), 0 failed"),
            std::string::npos)
      << second.out;
  EXPECT_EQ(fs::last_write_time(folder_ / "band/a.take"), written);

  const Outcome again = run({"lift", in_folder("band"), "--again"});
  EXPECT_NE(again.out.find("3 lifted, 0 unchanged, 0 failed"), std::string::npos) << again.out;
}

TEST_F(Batch, gives_the_same_takes_as_one_by_one_in_a_folder_of_their_own) {
  recording("a.wav", 0);
  recording("old/b.wav", 3);
  ASSERT_EQ(run({"lift", in_folder("band/a.wav"), "-o", in_folder("alone.take")}).exit_code, 0);
  const Outcome both = run({"lift", in_folder("band"), "--jobs", "2", "-o", in_folder("takes")});
  ASSERT_EQ(both.exit_code, 0) << both.err;
  ASSERT_TRUE(has("takes/a.take") && has("takes/old/b.take"));
  EXPECT_FALSE(has("band/a.take"));
  for (const std::string name : {"alone.take", "takes/a.take"}) {
    ASSERT_EQ(
        run({"export", in_folder(name), "--format", "tables", "-o", in_folder(name)}).exit_code, 0);
  }
  EXPECT_EQ(rows_of(in_folder("alone.take.notes.tsv")),
            rows_of(in_folder("takes/a.take.notes.tsv")));
}

TEST_F(Batch, two_recordings_of_one_name_do_not_fight_for_one_take) {
  recording("a.wav", 0);
  fs::copy_file(folder_ / "band/a.wav", folder_ / "band/a.wave");
  const Outcome outcome = run({"lift", in_folder("band")});
  EXPECT_EQ(outcome.exit_code, 1);
  EXPECT_TRUE(row(outcome.out, "a.wav").ends_with("lifted")) << outcome.out;
  EXPECT_TRUE(row(outcome.out, "a.wave").ends_with("failed")) << outcome.out;
  EXPECT_NE(outcome.err.find("would both be a.take"), std::string::npos) << outcome.err;
}

TEST_F(Batch, says_where_there_is_nothing_to_do_and_where_a_file_stands_in_the_way) {
  expect_refused(run({"lift", in_folder("band")}), "band");
  recording("a.wav", 0);
  std::ofstream(folder_ / "file") << "x";
  expect_refused(run({"lift", in_folder("band"), "-o", in_folder("file")}), "file");
  EXPECT_EQ(run({"lift", in_folder("band"), "--jobs", "0"}).exit_code, 2);
}

std::string contents_of(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

struct Working {
  pid_t parent;
  pid_t child;
};

/// A call with `folder` among its words and a child process of it, which has the same words.
std::optional<Working> working_on(const std::string& folder) {
  std::vector<pid_t> found;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator("/proc", error)) {
    const std::string name = entry.path().filename().string();
    if (name.find_first_not_of("0123456789") != std::string::npos) continue;
    if (contents_of(entry.path() / "cmdline").find(folder) == std::string::npos) continue;
    // stat(5): pid (comm) state ppid
    std::istringstream stat(contents_of(entry.path() / "stat"));
    std::string word;
    while (stat >> word && !word.ends_with(')')) {
    }
    pid_t parent = 0;
    stat >> word >> parent;
    if (contents_of("/proc/" + std::to_string(parent) + "/cmdline").find(folder) !=
        std::string::npos) {
      return Working{parent, static_cast<pid_t>(std::stol(name))};
    }
  }
  return std::nullopt;
}

TEST_F(Batch, a_crash_of_one_is_told_and_the_others_go_on) {
  recording("a.wav", 0, 120.0);  // long enough to be met at work
  recording("b.wav", 3);
  std::atomic<bool> has_ended{false};
  std::thread breaker([this, &has_ended] {
    while (!has_ended) {
      if (const auto working = working_on(in_folder("band"))) {
        // As a failed assertion ends it; SIGSEGV the sanitizers take for themselves.
        ::kill(working->child, SIGABRT);
        return;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
  });
  const Outcome outcome = run({"lift", in_folder("band"), "--jobs", "1"});
  has_ended = true;
  breaker.join();
  EXPECT_EQ(outcome.exit_code, 1);
  EXPECT_TRUE(row(outcome.out, "a.wav").ends_with("failed")) << outcome.out;
  EXPECT_TRUE(row(outcome.out, "b.wav").ends_with("lifted")) << outcome.out;
  EXPECT_NE(outcome.err.find("broke down"), std::string::npos) << outcome.err;
  EXPECT_FALSE(has("band/a.take"));
}

TEST_F(Batch, stopped_it_leaves_nothing_half_done_and_goes_on_later) {
  for (int i = 0; i < 6; ++i) recording("song" + std::to_string(i) + ".wav", i, 20.0);
  std::atomic<bool> has_ended{false};
  std::thread stopper([this, &has_ended] {
    while (!has_ended) {
      const auto working = working_on(in_folder("band"));
      if (working && has("band/song1.take")) {
        ::kill(working->parent, SIGINT);
        return;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
  });
  const Outcome stopped = run({"lift", in_folder("band"), "--jobs", "1"});
  has_ended = true;
  stopper.join();
  EXPECT_EQ(stopped.exit_code, 130);
  EXPECT_NE(stopped.out.find("not begun"), std::string::npos) << stopped.out;
  EXPECT_FALSE(working_on(in_folder("band")));
  for (const auto& entry : fs::directory_iterator(folder_ / "band")) {
    const auto ending = entry.path().extension();
    EXPECT_TRUE(entry.is_directory() || ending == ".wav" || ending == ".take") << entry.path();
  }
  const Outcome rest = run({"lift", in_folder("band")});
  EXPECT_EQ(rest.exit_code, 0) << rest.err;
  EXPECT_NE(rest.out.find(" 0 failed"), std::string::npos) << rest.out;
}

}  // namespace
}  // namespace lowstride::cli_test
