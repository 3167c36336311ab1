#include <csignal>
#include <string>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class Play : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    write_wav(in_folder("line.wav"), plucked_line({{0.2, 0.8, 33}}, 1.5));
  }
};

// Without a terminal there are no keys: it plays once and ends.
TEST_F(Play, plays_to_the_end_without_a_device_when_asked) {
  const Outcome whole = run({"play", in_folder("line.wav"), "--speed", "150%", "--silent"});
  EXPECT_EQ(whole.exit_code, 0) << whole.err;
  EXPECT_EQ(whole.err, "");
  EXPECT_EQ(whole.out, "");
  const Outcome part =
      run({"play", in_folder("line.wav"), "--from", "0.2", "--to", "0.5", "--silent"});
  EXPECT_EQ(part.exit_code, 0) << part.err;
}

TEST_F(Play, a_loop_goes_on_until_it_is_interrupted) {
  RunOptions options;
  options.signal_number = SIGINT;
  options.signal_after = std::chrono::seconds(3);
  const Outcome outcome =
      run({"play", in_folder("line.wav"), "--loop", "0.1..0.6", "--silent"}, options);
  EXPECT_EQ(outcome.exit_code, 130) << outcome.err;
}

TEST_F(Play, what_cannot_be_played_is_said_in_one_sentence) {
  expect_refused(run({"play", in_folder("line.wav"), "--device", "a device of nobody"}), "device");
  expect_refused(run({"play", in_folder("line.wav"), "--loop", "bridge", "--silent"}), "line.wav");
  expect_refused(run({"play", in_folder("line.wav"), "--loop", "0.6..0.1", "--silent"}), "--loop");
  expect_refused(run({"play", in_folder("line.wav"), "--speed", "abc", "--silent"}), "--speed");
  expect_refused(run({"play", in_folder("line.wav"), "--with", "line", "--silent"}), "line.wav");
  expect_refused(run({"play", in_folder("line.wav"), "--from", "9", "--silent"}), "line.wav");
  expect_refused(run({"play", in_folder("gone.wav"), "--silent"}), "gone.wav");
  EXPECT_EQ(run({"play"}).exit_code, 2);
}

}  // namespace
}  // namespace lowstride::cli_test
