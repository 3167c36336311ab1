#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class Usage : public CommandTest {};

TEST_F(Usage, every_command_has_help_with_examples) {
  for (const std::string command :
       {"lift", "slow", "play", "export", "edit", "read", "compare", "drill", "list"}) {
    const Outcome outcome = run({command, "--help"});
    EXPECT_EQ(outcome.exit_code, 0) << command;
    EXPECT_NE(outcome.out.find("Examples:\n  lowstride " + command), std::string::npos) << command;
    EXPECT_EQ(outcome.err, "");
  }
}

TEST_F(Usage, wrong_usage_exits_with_2_and_writes_nothing) {
  const std::vector<std::vector<std::string>> wrong{
      {},
      {"sing"},
      {"lift"},
      {"slow", "x.wav", "--speed", "50%"},
      {"slow", "x.wav", "-o", "y.wav"},
      {"slow", "x.wav", "--speed", "50%", "--ramp", "50%..60%", "-o", "y.wav"},
      {"lift", "x.wav", "--meter", "7/4"},
      {"lift", "x.wav", "--voice", "kazoo"},
      {"export", "x.take", "--format", "wax"},
      {"export", "x.take", "--format", "pdf", "--paper", "a7"},
      {"export", "x.take", "--format", "midi", "--as-played", "--quantised"},
      {"read"},
      {"compare", "x.take"},
      {"lift", "x.wav", "--nonsense"}};
  for (const auto& words : wrong) {
    const Outcome outcome = run(words);
    EXPECT_EQ(outcome.exit_code, 2) << testing::PrintToString(words);
    EXPECT_NE(outcome.err, "") << testing::PrintToString(words);
  }
  EXPECT_TRUE(names().empty());
}

TEST_F(Usage, version_is_told) {
  const Outcome outcome = run({"--version"});
  EXPECT_EQ(outcome.exit_code, 0);
  EXPECT_TRUE(outcome.out.starts_with("lowstride ")) << outcome.out;
}

}  // namespace
}  // namespace lowstride::cli_test
