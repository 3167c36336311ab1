// Lowstride never speaks to another machine: the main job runs under a filter of system calls
// (seccomp, Linux) that ends a process which asks for any socket but a local one (AF_UNIX).
#include <seccomp.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <fstream>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

/// From here on this process and its children die of any socket but a local one.
void forbid_network() {
  scmp_filter_ctx filter = ::seccomp_init(SCMP_ACT_ALLOW);
  const bool is_good = filter != nullptr &&
                       ::seccomp_rule_add(filter, SCMP_ACT_KILL_PROCESS, SCMP_SYS(socket), 1,
                                          SCMP_A0(SCMP_CMP_NE, AF_UNIX)) == 0 &&
                       ::seccomp_load(filter) == 0;
  if (!is_good) ::_exit(97);
}

class Network : public CommandTest {
 protected:
  [[nodiscard]] static Outcome run_without_network(
      const std::vector<std::string>& words, const std::filesystem::path& typed = "/dev/null") {
    RunOptions options;
    options.in_child = forbid_network;
    options.input = typed;
    return run(words, options);
  }
};

TEST_F(Network, the_filter_ends_who_opens_a_socket_to_elsewhere) {
  for (const int family : {AF_UNIX, AF_INET, AF_INET6, AF_NETLINK}) {
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      forbid_network();
      ::_exit(::socket(family, SOCK_DGRAM, 0) >= 0 ? 0 : 1);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    if (family == AF_UNIX) {
      EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0) << status;
    } else {
      EXPECT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGSYS) << family;
    }
  }
}

TEST_F(Network, the_main_job_needs_none) {
  const std::filesystem::path sample = std::filesystem::path(LOWSTRIDE_SAMPLES) / "ferry-slip.ogg";
  std::filesystem::copy_file(sample, in_folder("line.ogg"));
  const std::string take = in_folder("line.take");
  const auto expect_done = [](const Outcome& outcome) {
    EXPECT_EQ(outcome.exit_code, 0) << outcome.err << outcome.out;
  };
  expect_done(run_without_network({"lift", in_folder("line.ogg"), "--to", "8"}));
  expect_done(run_without_network({"edit", take, "--confirm", "all"}));
  for (const char* format : {"text", "musicxml", "midi", "pdf", "svg", "tables"}) {
    expect_done(run_without_network(
        {"export", take, "--format", format, "-o", in_folder(std::string("out.") + format)}));
  }
  expect_done(run_without_network(
      {"slow", take, "--to", "3", "--speed", "50%", "-o", in_folder("slow.wav")}));
  std::ofstream(in_folder("typed")) << "\n!\n\nq\n";
  expect_done(
      run_without_network({"drill", take, "--kinds", "note", "--silent"}, in_folder("typed")));
  expect_done(run_without_network({"list", folder_.string()}));
  // A phone's recording is decoded in a child process, which inherits the filter.
  const std::string phone = in_folder("phone.m4a");
  const std::string make =
      "ffmpeg -v quiet -t 2 -i '" + in_folder("line.ogg") + "' '" + phone + "' > /dev/null 2>&1";
  if (std::system(make.c_str()) == 0) {
    expect_done(
        run_without_network({"slow", phone, "--speed", "80%", "-o", in_folder("phone.wav")}));
  }
}

}  // namespace
}  // namespace lowstride::cli_test
