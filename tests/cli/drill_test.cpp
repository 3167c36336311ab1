#include <poll.h>
#include <pty.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <regex>
#include <tuple>

#include "src/drill/history.hpp"
#include "src/take/storage.hpp"
#include "src/theory/pitch.hpp"
#include "tests/cli/command_run.hpp"
#include "tests/drill/drill_takes.hpp"

namespace lowstride::cli_test {
namespace {

/// `lowstride` in a terminal of its own: keys go in, the screen comes out.
class Terminal {
 public:
  explicit Terminal(std::vector<std::string> words) {
    process_ = ::forkpty(&master_, nullptr, nullptr, nullptr);
    if (process_ != 0) return;
    std::vector<char*> arguments;
    static char command[] = LOWSTRIDE_COMMAND;
    arguments.push_back(command);
    for (std::string& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    ::execv(command, arguments.data());
    ::_exit(98);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;
  ~Terminal() {
    if (process_ > 0) std::ignore = end(SIGKILL);
    ::close(master_);
  }

  void type(const std::string& line) {
    const std::string keys = line + "\n";
    EXPECT_EQ(::write(master_, keys.data(), keys.size()), static_cast<ssize_t>(keys.size()));
  }

  /// What came on the screen up to and with `words`; all there was when they never came.
  std::string until(const std::string& words) {
    const auto late = std::chrono::steady_clock::now() + std::chrono::seconds(30);
    for (;;) {
      if (const std::size_t at = screen_.find(words); at != std::string::npos) {
        std::string shown = screen_.substr(0, at + words.size());
        screen_.erase(0, at + words.size());
        return shown;
      }
      pollfd input{master_, POLLIN, 0};
      if (std::chrono::steady_clock::now() > late || ::poll(&input, 1, 1000) < 0) break;
      char bytes[4096];
      if ((input.revents & (POLLIN | POLLHUP)) == 0) continue;
      const ssize_t count = ::read(master_, bytes, sizeof bytes);
      if (count <= 0) break;
      screen_.append(bytes, static_cast<std::size_t>(count));
    }
    ADD_FAILURE() << "'" << words << "' never came; on the screen: " << screen_;
    return screen_;
  }

  void send(int signal) const { ::kill(process_, signal); }

  /// Waits for the end (after a signal, if one is given). Exit code, or 128 + signal.
  int end(std::optional<int> signal = std::nullopt) {
    if (signal) send(*signal);
    int status = 0;
    ::waitpid(process_, &status, 0);
    process_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  }

 private:
  pid_t process_ = -1;
  int master_ = -1;
  std::string screen_;
};

class Drill : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    ::setenv("XDG_DATA_HOME", in_folder("cache").c_str(), 1);
    ::setenv("LOWSTRIDE_NOW", "1760000000", 1);
    take_ = drill::example::line();
    ASSERT_TRUE(take::save_copy(take_, in_folder("line.take")));
  }
  void TearDown() override {
    ::unsetenv("LOWSTRIDE_NOW");
    ::unsetenv("XDG_DATA_HOME");
    CommandTest::TearDown();
  }

  /// The name of the note that a question asks for.
  [[nodiscard]] std::string answer_to(const std::string& question) const {
    const std::regex place("played on bar ([0-9]+), beat ([0-9]+)");
    std::smatch found;
    if (!std::regex_search(question, found, place)) return "?";
    const std::size_t index =
        static_cast<std::size_t>(4 * (std::stoi(found[1]) - 1) + std::stoi(found[2]) - 1);
    return theory::pitch_text(take_.notes[index].midi, theory::Key{5, false});
  }

  [[nodiscard]] drill::History history(const std::string& player = "player") const {
    return std::move(*drill::History::open(*drill::history_path(player)));
  }

  take::Take take_;
};

TEST_F(Drill, a_session_in_a_terminal_from_question_to_grade) {
  Terminal terminal({"drill", in_folder("line.take"), "--kinds", "note", "--silent"});
  EXPECT_NE(terminal.until("[Enter] ").find("doctor"), std::string::npos);
  terminal.type("");
  std::string question = terminal.until("> ");
  EXPECT_NE(question.find("Say a note"), std::string::npos) << question;
  terminal.type("nonsense");
  terminal.until("is no note");
  terminal.until("> ");
  terminal.type(answer_to(question));
  const std::string feedback = terminal.until("[Enter] ");
  EXPECT_NE(feedback.find("Right: "), std::string::npos) << feedback;
  EXPECT_NE(feedback.find("Graded: "), std::string::npos) << feedback;
  terminal.type("");
  question = terminal.until("> ");
  terminal.type("?");
  terminal.until("> ");
  terminal.type(answer_to(question));
  EXPECT_NE(terminal.until("[Enter] ").find("Graded: with hints"), std::string::npos);
  terminal.type("");
  terminal.until("> ");
  terminal.type("!");
  EXPECT_NE(terminal.until("[Enter] ").find("Graded: missed"), std::string::npos);
  terminal.type("q");
  EXPECT_NE(terminal.until("new.").find("2 of 3 right"), std::string::npos);
  EXPECT_EQ(terminal.end(), 0);
  EXPECT_EQ(history().answers()->size(), 3U);
}

TEST_F(Drill, an_interrupted_or_killed_session_keeps_its_answers) {
  for (const int signal : {SIGKILL, SIGINT}) {
    const std::string player = signal == SIGKILL ? "Mia" : "Theo";
    Terminal terminal(
        {"drill", in_folder("line.take"), "--kinds", "chord", "--silent", "--player", player});
    terminal.until("[Enter] ");
    terminal.type("");
    terminal.until("> ");
    terminal.type("!");
    terminal.until("[Enter] ");
    EXPECT_EQ(terminal.end(signal), signal == SIGKILL ? 128 + SIGKILL : 130);
    EXPECT_EQ(history(player).answers()->size(), 1U) << player;
  }
  EXPECT_TRUE(history("player").answers()->empty()) << "players are kept apart";
}

TEST_F(Drill, what_is_due_comes_back_from_every_take) {
  {
    Terminal terminal({"drill", in_folder("line.take"), "--kinds", "chord", "--silent"});
    terminal.until("[Enter] ");
    terminal.type("");
    terminal.until("> ");
    terminal.type("!");
    terminal.until("[Enter] ");
    terminal.type("q");
    EXPECT_EQ(terminal.end(), 0);
  }
  ::setenv("LOWSTRIDE_NOW", "1760100000", 1);
  Terminal terminal({"drill", "--due", "--silent"});
  EXPECT_NE(terminal.until("new.").find("1 due, 0 new"), std::string::npos);
  terminal.until("[Enter] ");
  terminal.type("");
  EXPECT_NE(terminal.until("> ").find("Name the chord"), std::string::npos);
}

TEST_F(Drill, notes_are_answered_by_playing_from_a_file) {
  // A line of one pitch, so that every question has the same answer; and a recording in which it is
  // played right once and an octave too high once.
  sheet::example::TakeMaker maker(120.0);
  maker.bars(4);
  maker.chord(0, 16, "A7");
  for (int i = 0; i < 16; ++i) maker.note(i, 0.95, "A1");
  ASSERT_TRUE(take::save_copy(drill::example::confirmed(maker.done()), in_folder("a.take")));
  write_wav(in_folder("played.wav"),
            plucked_line({{0.5, 1.2, 33}, {2.5, 1.2, 45}, {4.5, 1.2, 45}}, 7.0));
  const Outcome outcome = run({"drill", in_folder("a.take"), "--kinds", "note", "--silent",
                               "--answers", in_folder("played.wav")});
  // Standard input is at its end: the session stops where Enter is awaited.
  EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
  Terminal terminal({"drill", in_folder("a.take"), "--kinds", "note", "--silent", "--answers",
                     in_folder("played.wav")});
  terminal.until("[Enter] ");
  terminal.type("");
  terminal.until("Heard A1");
  EXPECT_NE(terminal.until("[Enter] ").find("Right: A1"), std::string::npos);
  terminal.type("");
  terminal.until("Heard A2");
  terminal.until("A2 8ve");
  terminal.until("wrong octave");
  terminal.until("Heard A2");
  terminal.until("Graded: with hints, for the octave.");
  terminal.type("q");
  const auto answers = *history().answers();
  ASSERT_EQ(answers.size(), 2U);
  EXPECT_EQ(answers[1].notes.front().mark, drill::Mark::octave);
}

TEST_F(Drill, a_folder_stands_for_the_takes_in_it) {
  std::filesystem::create_directories(in_folder("lessons/week 2"));
  std::filesystem::create_directories(in_folder("empty"));
  drill::ItemOptions chords;
  chords.kinds = {drill::Kind::name_the_chord};
  const std::size_t in_one = drill::items_of(take_, chords).size();
  ASSERT_TRUE(take::save_copy(take_, in_folder("lessons/first.take")));
  take_.title = "Another";
  ASSERT_TRUE(take::save_copy(take_, in_folder("lessons/week 2/second.take")));
  std::ofstream(in_folder("lessons/torn.take")) << "{\"version\":";
  const Outcome outcome = run({"drill", in_folder("lessons"), "--kinds", "chord", "--silent"});
  EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_NE(outcome.out.find("0 due, " + std::to_string(2 * in_one) + " new."), std::string::npos)
      << outcome.out;
  EXPECT_NE(outcome.err.find("torn.take"), std::string::npos) << outcome.err;
  expect_refused(run({"drill", in_folder("empty"), "--silent"}), "empty");
}

TEST_F(Drill, progress_and_table_are_written) {
  auto kept = history();
  const auto items = drill::items_of(take_);
  for (const auto& item : items) {
    drill::Verdict verdict = drill::judge(item, drill::GiveUp{});
    ASSERT_TRUE(kept.record(
        item, drill::record_of(item, verdict, {}, drill::Grade::missed, 0.6, 1'760'000'000)));
  }
  for (const char* name : {"mine.svg", "mine.png", "mine.csv"}) {
    const std::string option = std::string(name).ends_with("csv") ? "--csv" : "--progress";
    const Outcome outcome = run({"drill", option, in_folder(name)});
    EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
    EXPECT_GT(std::filesystem::file_size(in_folder(name)), 3000U) << name;
  }
  expect_refused(run({"drill", "--progress", in_folder("mine.txt")}), "mine.txt");
  EXPECT_EQ(run({"drill", "--fit"}).exit_code, 0);
}

TEST_F(Drill, what_cannot_be_drilled_is_refused_in_a_sentence) {
  take::Take unsure = take_;
  for (take::Note& note : unsure.notes) note.state = take::State::proposed;
  for (take::ChordSpan& chord : unsure.chords) chord.state = take::State::proposed;
  ASSERT_TRUE(take::save_copy(unsure, in_folder("unsure.take")));
  expect_refused(run({"drill", in_folder("unsure.take"), "--silent"}), "unsure.take");
  expect_refused(run({"drill", in_folder("no.take"), "--silent"}), "no.take");
  expect_refused(run({"drill", in_folder("line.take"), "--passage", "bridge"}), "bridge");
  expect_refused(run({"drill", in_folder("line.take"), "--player", "a/b"}), "a/b");
  EXPECT_EQ(run({"drill"}).exit_code, 2);
  EXPECT_EQ(run({"drill", in_folder("line.take"), "--kinds", "melody"}).exit_code, 2);
}

}  // namespace
}  // namespace lowstride::cli_test
