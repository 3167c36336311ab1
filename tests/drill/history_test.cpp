#include "src/drill/history.hpp"

#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <thread>

#include <gmock/gmock.h>

#include "src/drill/session.hpp"
#include "tests/drill/drill_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::drill {
namespace {

using testing::HasSubstr;

constexpr UnixSeconds start = 1'760'000'000;
constexpr UnixSeconds day = 86400;

class Histories : public take::testing_help::FolderTest {
 protected:
  void SetUp() override {
    FolderTest::SetUp();
    path_ = folder_ / "Mia.history";
    item_.key = "take:note:7";
    item_.take_key = "take";
    item_.beat_samples = {0, 1, 2};
  }

  [[nodiscard]] AnswerRecord answer(Grade grade, UnixSeconds at) const {
    AnswerRecord record;
    record.item_key = item_.key;
    record.take_key = item_.take_key;
    record.kind = Kind::find_the_note;
    record.answered_at = at;
    record.grade = grade;
    record.heard = "D2, or \"so\"";
    record.right = "=E2";
    record.notes.push_back({1.0, Mark::up, 40, 38, theory::Role::fifth, -3});
    record.notes.push_back({2.0, Mark::open, 41, std::nullopt, std::nullopt, std::nullopt});
    record.place = "bar 5, beat 3";
    record.tune_key = "Bb";
    return record;
  }

  static void run_sql(const std::filesystem::path& path, const char* sql) {
    sqlite3* handle = nullptr;
    ASSERT_EQ(sqlite3_open(path.c_str(), &handle), SQLITE_OK);
    char* message = nullptr;
    EXPECT_EQ(sqlite3_exec(handle, sql, nullptr, nullptr, &message), SQLITE_OK)
        << (message == nullptr ? "" : message);
    sqlite3_close(handle);
  }

  std::filesystem::path path_;
  Item item_;
};

TEST_F(Histories, answers_and_states_come_back_as_they_were) {
  const FirstTry first_try{0.5,
                           "C2",
                           {{1.0, Mark::down, 40, 47, theory::Role::fifth, -3},
                            {2.0, Mark::tick, 41, 41, std::nullopt, std::nullopt}}};
  {
    auto history = History::open(path_);
    ASSERT_TRUE(history) << history.error().message;
    ASSERT_TRUE(history->record(item_, answer(Grade::slow, start)));
    AnswerRecord second = answer(Grade::missed, start + 3 * day);
    second.first_try = first_try;
    const auto state = history->record(item_, second);
    ASSERT_TRUE(state);
    EXPECT_EQ(state->answer_count, 2);
    EXPECT_EQ(state->missed_count, 1);
    ASSERT_TRUE(history->remember_take({"take", "/somewhere/trio.take", "Trio"}));
  }
  const auto history = History::open(path_);
  const auto answers = *history->answers();
  ASSERT_EQ(answers.size(), 2U);
  AnswerRecord expected = answer(Grade::missed, start + 3 * day);
  expected.days = 3;
  expected.first_try = first_try;
  EXPECT_EQ(answers[1], expected);
  EXPECT_FALSE(answers[0].first_try);
  EXPECT_EQ((*history->takes()).front().path, "/somewhere/trio.take");
  const auto lives = *history->item_histories();
  ASSERT_EQ(lives.size(), 1U);
  EXPECT_EQ(lives.front()[1], (PastAnswer{Grade::missed, 3, static_cast<double>(start + 3 * day)}));
  const Memory by_hand =
      next_memory(default_weights, first_memory(default_weights, Grade::slow), Grade::missed, 3);
  EXPECT_EQ(history->states()->front().memory, by_hand);
}

TEST_F(Histories, own_weights_move_every_memory) {
  auto history = History::open(path_);
  for (int i = 0; i < 4; ++i)
    ASSERT_TRUE(history->record(item_, answer(Grade::slow, start + 5 * day * i)));
  Weights own = default_weights;
  own[2] = 9.0;
  own[8] = 1.0;
  ASSERT_TRUE(history->set_weights(own));
  EXPECT_EQ(*history->weights(), own);
  Memory memory = first_memory(own, Grade::slow);
  for (int i = 0; i < 3; ++i) memory = next_memory(own, memory, Grade::slow, 5);
  EXPECT_EQ(history->states()->front().memory, memory);
}

// By itself only when there is enough and enough more; the report is kept with the weights.
TEST_F(Histories, the_model_is_fitted_when_the_history_has_grown) {
  auto history = History::open(path_);
  ASSERT_FALSE(history->fit_when_due(start).value());
  // Somebody who forgets far sooner than the default weights believe: every second answer missed.
  const auto add = [&](int item_count, int answer_count, int from_day) {
    for (int i = 0; i < item_count; ++i) {
      Item item = item_;
      item.key = "item" + std::to_string(i);
      for (int n = 0; n < answer_count; ++n) {
        AnswerRecord record =
            answer(n % 2 == 0 ? Grade::slow : Grade::missed, start + day * (from_day + 2 * n));
        record.item_key = item.key;
        ASSERT_TRUE(history->record(item, record));
      }
    }
  };
  add(40, 12, 0);
  const auto report = history->fit_when_due(start + 30 * day).value();
  ASSERT_TRUE(report);
  EXPECT_TRUE(report->is_adopted);
  EXPECT_LT(report->fitted_loss, report->default_loss);
  EXPECT_EQ(report->fitted_answer_count + report->judged_answer_count, 440U);
  EXPECT_EQ(*history->weights(), report->weights);
  EXPECT_NE(report->weights, default_weights);
  EXPECT_FALSE(history->fit_when_due(start + 30 * day).value()) << "nothing new since";
  add(40, 2, 30);
  EXPECT_FALSE(history->fit_when_due(start + 40 * day).value()) << "80 more are too few";
  add(40, 2, 40);
  EXPECT_TRUE(history->fit_when_due(start + 50 * day).value());
}

TEST_F(Histories, the_table_is_quoted_as_rfc_4180_says) {
  auto history = History::open(path_);
  ASSERT_TRUE(history->record(item_, answer(Grade::with_hints, start)));
  ASSERT_TRUE(history->export_csv(folder_ / "out.csv"));
  const std::string text = bytes_of(folder_ / "out.csv");
  EXPECT_THAT(text,
              HasSubstr("\r\n2025-10-09T08:53:20Z,take,take:note:7,find the note,with hints,0,"));
  EXPECT_THAT(text, HasSubstr("\"D2, or \"\"so\"\"\",'=E2,"));
  EXPECT_FALSE(history->export_csv(folder_ / "no" / "such" / "out.csv"));
}

TEST_F(Histories, a_damaged_file_is_set_aside_and_never_written_over) {
  {
    auto history = History::open(path_);
    ASSERT_TRUE(history->record(item_, answer(Grade::slow, start)));
  }
  const std::string whole = bytes_of(path_);
  const std::string damages[] = {
      "this was never a database, but it is longer than a header would be "
      "....................................................",
      whole.substr(0, whole.size() / 2), std::string(whole.size(), 'x')};
  int number = 0;
  for (const std::string& bytes : damages) {
    write_bytes(path_, bytes);
    auto history = History::open(path_);
    ASSERT_TRUE(history) << history.error().message;
    ASSERT_EQ(history->messages().size(), 1U);
    EXPECT_THAT(history->messages().front(), HasSubstr("damaged"));
    EXPECT_EQ(bytes_of(path_.string() + ".damaged-" + std::to_string(++number)), bytes);
    EXPECT_TRUE(history->answers()->empty());
    EXPECT_TRUE(history->record(item_, answer(Grade::slow, start)));
  }
}

TEST_F(Histories, a_newer_version_is_left_alone_and_an_older_one_brought_up_to_date) {
  // The first version, as it was: without notes of answers and weights.
  run_sql(
      path_,
      "CREATE TABLE take (key TEXT PRIMARY KEY, path TEXT NOT NULL, title TEXT NOT NULL);"
      "CREATE TABLE item (key TEXT PRIMARY KEY, take_key TEXT NOT NULL, kind INTEGER NOT NULL,"
      " stability_days REAL NOT NULL, difficulty REAL NOT NULL, speed_step INTEGER NOT NULL,"
      " held_count INTEGER NOT NULL, answered_at INTEGER NOT NULL, due_at INTEGER NOT NULL,"
      " answer_count INTEGER NOT NULL, missed_count INTEGER NOT NULL);"
      "CREATE TABLE answer (id INTEGER PRIMARY KEY, item_key TEXT NOT NULL, take_key TEXT NOT NULL,"
      " kind INTEGER NOT NULL, answered_at INTEGER NOT NULL, grade INTEGER NOT NULL,"
      " days INTEGER NOT NULL, hint_count INTEGER NOT NULL, wrong_try_count INTEGER NOT NULL,"
      " thinking_seconds REAL NOT NULL, speed_ratio REAL NOT NULL, tempo_bpm REAL NOT NULL,"
      " share_right REAL NOT NULL, points REAL NOT NULL, heard TEXT NOT NULL, right TEXT NOT NULL,"
      " late_seconds REAL);"
      "CREATE INDEX answer_by_item ON answer (item_key, id);"
      "INSERT INTO answer VALUES "
      "(1,'old','take',0,1700000000,3,0,0,0,1.0,0.6,120,1,1,'E2','E2',NULL);"
      "INSERT INTO item VALUES ('old','take',0,2.3,2.1,1,1,1700000000,1700172800,1,0);"
      "PRAGMA user_version=1;");
  {
    auto history = History::open(path_);
    ASSERT_TRUE(history) << history.error().message;
    EXPECT_TRUE(history->messages().empty());
    EXPECT_EQ(history->answers()->size(), 1U);
    EXPECT_EQ(history->states()->front().key, "old");
    ASSERT_TRUE(history->record(item_, answer(Grade::slow, start)));
    EXPECT_EQ(history->answers()->back().notes.size(), 2U);
  }
  run_sql(path_, "PRAGMA user_version=99;");
  const auto newer = History::open(path_);
  ASSERT_FALSE(newer);
  EXPECT_EQ(newer.error().code, ErrorCode::unsupported);
  EXPECT_THAT(newer.error().message, HasSubstr("newer"));
  run_sql(path_, "PRAGMA user_version=4;");
  EXPECT_EQ(History::open(path_)->answers()->size(), 2U);
}

TEST_F(Histories, two_processes_lose_and_corrupt_nothing) {
  constexpr int each = 60;
  ASSERT_TRUE(History::open(path_));
  std::vector<pid_t> children;
  for (int child = 0; child < 2; ++child) {
    const pid_t process = ::fork();
    if (process == 0) {
      auto history = History::open(path_);
      bool is_good = history.has_value();
      for (int i = 0; is_good && i < each; ++i) {
        is_good = history->record(item_, answer(Grade::slow, start + i * day)).has_value();
      }
      ::_exit(is_good ? 0 : 1);
    }
    children.push_back(process);
  }
  for (const pid_t process : children) {
    int status = 0;
    ::waitpid(process, &status, 0);
    EXPECT_EQ(status, 0);
  }
  auto history = History::open(path_);
  EXPECT_TRUE(history->messages().empty());
  EXPECT_EQ(history->answers()->size(), 2U * each);
  EXPECT_EQ(history->states()->front().answer_count, 2 * each)
      << "no state was worked out from an old one";
}

TEST_F(Histories, a_killed_process_loses_no_answer_that_was_recorded) {
  for (int round = 0; round < 5; ++round) {
    const std::filesystem::path counter = folder_ / "count";
    const pid_t process = ::fork();
    if (process == 0) {
      auto history = History::open(path_);
      const int file = ::open(counter.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
      for (int i = 0; history && i < 100'000; ++i) {
        if (!history->record(item_, answer(Grade::slow, start + i))) ::_exit(1);
        if (::write(file, "x", 1) != 1) ::_exit(1);
      }
      ::_exit(0);
    }
    // Killed in the midst of the work, at another place each time.
    for (int wait = 0; wait < 400 && std::ssize(bytes_of(counter)) < 5 + 7 * round; ++wait) {
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    ::kill(process, SIGKILL);
    int status = 0;
    ::waitpid(process, &status, 0);
    auto history = History::open(path_);
    ASSERT_TRUE(history);
    EXPECT_TRUE(history->messages().empty());
    const std::size_t told = bytes_of(counter).size();
    const std::size_t kept = history->answers()->size();
    EXPECT_GE(told, 1U);
    EXPECT_GE(kept, told);
    // Each round's last answer may have been recorded and not yet counted.
    EXPECT_LE(kept, told + static_cast<std::size_t>(round) + 1U);
    EXPECT_EQ(history->states()->front().answer_count, static_cast<int>(kept));
  }
}

TEST_F(Histories, players_have_a_file_each_in_the_data_folder) {
  ::setenv("XDG_DATA_HOME", folder_.c_str(), 1);
  EXPECT_EQ(*history_path("Mia"), folder_ / "lowstride" / "Mia.history");
  for (const char* bad : {"", "../x", "a/b", ".hidden", "a\nb"})
    EXPECT_FALSE(history_path(bad)) << bad;
  ASSERT_TRUE(History::open(*history_path("Mia")));
  ASSERT_TRUE(History::open(*history_path("Theo")));
  EXPECT_EQ(known_players(), (std::vector<std::string>{"Mia", "Theo"}));
  ::unsetenv("XDG_DATA_HOME");
}

// 10,000 items and 100,000 answers: the next item within 20 ms.
TEST_F(Histories, the_next_item_is_found_fast_among_ten_thousand) {
  using Clock = std::chrono::steady_clock;
  const auto ms_since = [](Clock::time_point begin) {
    return std::chrono::duration<double, std::milli>(Clock::now() - begin).count();
  };
  constexpr std::size_t item_count = 10'000;
  ASSERT_TRUE(History::open(path_));
  run_sql(
      path_,
      "BEGIN;"
      "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i+1 FROM n WHERE i<9999)"
      " INSERT INTO item SELECT 'take'||(i%20)||':note:'||i,'take'||(i%20),i%8,1.0+i%50,5.0,1,0,"
      " 1760000000-86400*(i%60),1760000000-86400*(i%60)+86400*(i%50),10,2 FROM n;"
      "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i+1 FROM n WHERE i<99999)"
      " INSERT INTO answer SELECT "
      "NULL,'take'||((i%10000)%20)||':note:'||(i%10000),'take'||((i%10000)%20),"
      " (i%10000)%8,1750000000+i*100,1+i%4,1+i%9,0,0,2.0,0.6,120,1,1,'E2','E2',NULL,'','',NULL,'' "
      "FROM n;"
      "COMMIT;");
  std::vector<Item> items(item_count);
  for (std::size_t i = 0; i < item_count; ++i) {
    items[i] = item_;
    items[i].take_key = "take" + std::to_string(i % 20);
    items[i].key = items[i].take_key + ":note:" + std::to_string(i);
    items[i].kind = static_cast<Kind>(i % 8);
    items[i].beat_samples.front() = static_cast<std::int64_t>(i);
  }
  const auto opening = Clock::now();
  auto history = History::open(path_);
  auto states = history->states();
  const double opened_ms = ms_since(opening);
  ASSERT_EQ(states->size(), item_count);
  std::vector<Candidate> candidates(item_count);
  for (std::size_t i = 0; i < item_count; ++i) {
    candidates[i].kind = items[i].kind;
    candidates[i].take_index = static_cast<std::uint32_t>(i % 20);
    candidates[i].place_samples = static_cast<std::int64_t>(i);
    candidates[i].state = &(*states)[i];
  }
  ChoiceContext context;
  context.now = start;
  double worst_ms = 0.0;
  double recorded_ms = 0.0;
  for (int i = 0; i < 50; ++i) {
    const auto begin = Clock::now();
    const auto next = choose_next(candidates, default_weights, context);
    worst_ms = std::max(worst_ms, ms_since(begin));
    ASSERT_TRUE(next);
    context.asked.push_back(*next);
    const auto recording = Clock::now();
    AnswerRecord record = answer(Grade::slow, start);
    record.item_key = items[*next].key;
    const auto state = history->record(items[*next], record);
    recorded_ms = std::max(recorded_ms, ms_since(recording));
    ASSERT_TRUE(state);
    (*states)[*next] = *state;
  }
  std::printf(
      "opening 100,000 answers %.0f ms; next item of 10,000: %.1f ms at worst; keeping an answer: "
      "%.1f ms at worst\n",
      opened_ms, worst_ms, recorded_ms);
  EXPECT_LT(worst_ms, 20.0);
}

}  // namespace
}  // namespace lowstride::drill
