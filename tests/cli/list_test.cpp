#include <fstream>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class List : public CommandTest {
 protected:
  void put(const std::string& name, const std::string& bytes) const {
    std::ofstream(in_folder(name), std::ios::binary) << bytes;
  }
  /// A take of four notes over four seconds, all confirmed, as everything that is read.
  void make_take(const std::string& name) const {
    put("line.notes.tsv",
        "onset_s\toffset_s\tmidi\n0.0\t0.9\t31\n1.0\t1.9\t35\n2.0\t2.9\t38\n3.0\t4.0\t37\n");
    put("line.beats.tsv",
        "time_s\tbar\tbeat\n0.0\t1\t1\n1.0\t1\t2\n2.0\t1\t3\n3.0\t1\t4\n4.0\t2\t1\n");
    ASSERT_EQ(run({"read", in_folder("line.notes.tsv"), "-o", in_folder(name)}).exit_code, 0);
  }
};

TEST_F(List, shows_every_take_of_a_folder_and_of_those_in_it) {
  std::filesystem::create_directory(in_folder("lessons"));
  std::filesystem::create_directory(in_folder("lessons/week 2"));
  make_take("lessons/first.take");
  make_take("lessons/week 2/second.take");
  ASSERT_EQ(run({"edit", in_folder("lessons/first.take"), "--doubt", "0..4"}).exit_code, 0);
  const Outcome outcome = run({"list", in_folder("lessons")});
  EXPECT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(outcome.out,
            "take                 length   notes  doubts  confirmed   due\n"
            "first.take             0:04       4       4        0 %     -\n"
            "week 2/second.take     0:04       4       0      100 %     -\n");
}

TEST_F(List, tells_of_a_damaged_take_and_lists_the_others) {
  make_take("good.take");
  put("bad.take", "{\"version\":");
  const Outcome outcome = run({"list", in_folder("")});
  EXPECT_EQ(outcome.exit_code, 1);
  EXPECT_NE(outcome.err.find("bad.take"), std::string::npos) << outcome.err;
  EXPECT_NE(outcome.out.find("good.take"), std::string::npos) << outcome.out;
}

TEST_F(List, tells_of_a_history_that_cannot_be_opened_and_lists_the_takes) {
  std::filesystem::create_directory(in_folder("lessons"));
  make_take("lessons/first.take");
  std::filesystem::create_directories(in_folder("data/lowstride/player.history"));
  const Outcome outcome = run({"list", in_folder("lessons")});
  EXPECT_EQ(outcome.exit_code, 1);
  EXPECT_NE(outcome.err.find("player.history"), std::string::npos) << outcome.err;
  EXPECT_NE(outcome.out.find("first.take"), std::string::npos) << outcome.out;
}

TEST_F(List, an_empty_folder_is_no_failure_and_no_folder_is) {
  std::filesystem::create_directory(in_folder("empty"));
  const Outcome empty = run({"list", in_folder("empty")});
  EXPECT_EQ(empty.exit_code, 0);
  EXPECT_NE(empty.out.find("No takes in"), std::string::npos) << empty.out;
  expect_refused(run({"list", in_folder("nowhere")}), "nowhere");
}

}  // namespace
}  // namespace lowstride::cli_test
