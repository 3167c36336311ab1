#include "src/cli/child_work.hpp"

#include <fcntl.h>
#include <poll.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <exception>
#include <vector>

#include <fmt/format.h>

#include "dsp/base/contracts.hpp"
#include "src/cli/console.hpp"

namespace lowstride::cli {
namespace {

constexpr std::size_t most_said_bytes = std::size_t{1} << 16U;
constexpr int look_up_every_ms = 200;

struct Child {
  std::size_t index = 0;
  pid_t process = -1;
  int pipe = -1;
  std::string said;
};

/// In the child, from fork to end.
[[noreturn]] void be_child(const ChildWork& job, std::size_t index, int pipe, pid_t parent) {
  // A Ctrl-C reaches the parent alone, which passes it on once; a second one would end us at once.
  ::setpgid(0, 0);
  ::prctl(PR_SET_PDEATHSIG, SIGTERM);
  if (::getppid() != parent) ::_exit(static_cast<int>(ExitCode::interrupted));
  const int nothing = ::open("/dev/null", O_RDWR | O_CLOEXEC);
  ::dup2(nothing, STDIN_FILENO);
  ::dup2(nothing, STDOUT_FILENO);
  ::dup2(pipe, STDERR_FILENO);
  int code = static_cast<int>(ExitCode::failed);
  try {
    code = job.work(index);
  } catch (const std::exception& error) {
    remark(fmt::format("Internal error: {}.", error.what()));
  }
  std::fflush(nullptr);
  // Neither the parent's exit handlers nor its objects are the child's to end.
  ::_exit(code);
}

/// Nothing when no process can be had; `errno` says why.
std::optional<Child> begin(const ChildWork& job, std::size_t index) {
  std::array<int, 2> ends{};
  if (::pipe2(ends.data(), O_CLOEXEC) != 0) return std::nullopt;
  // What waits in buffers would be written by both.
  std::fflush(nullptr);
  const pid_t parent = ::getpid();
  const pid_t process = ::fork();
  if (process == 0) be_child(job, index, ends[1], parent);
  const int reason = errno;
  ::close(ends[1]);
  if (process < 0) {
    ::close(ends[0]);
    errno = reason;
    return std::nullopt;
  }
  return Child{index, process, ends[0], {}};
}

/// Reads what there is; false at the end of it, which is the end of the child.
bool listen(Child& child) {
  std::array<char, 4096> block{};
  const ssize_t count = ::read(child.pipe, block.data(), block.size());
  if (count < 0) return errno == EINTR || errno == EAGAIN;
  const std::size_t room = most_said_bytes - std::min(most_said_bytes, child.said.size());
  child.said.append(block.data(), std::min(static_cast<std::size_t>(count), room));
  return count > 0;
}

ChildEnd end_of(Child& child) {
  ::close(child.pipe);
  int status = 0;
  while (::waitpid(child.process, &status, 0) < 0 && errno == EINTR) {
  }
  ChildEnd end;
  end.said = std::move(child.said);
  if (WIFSIGNALED(status)) end.signal_number = WTERMSIG(status);
  if (WIFEXITED(status)) end.exit_code = WEXITSTATUS(status);
  return end;
}

}  // namespace

bool do_in_children(const ChildWork& job) {
  LOWSTRIDE_EXPECTS(job.at_once > 0 && job.work && job.on_end);
  std::vector<Child> children;
  std::size_t next = 0;
  bool were_stopped = false;
  while (!children.empty() || (next < job.count && !interrupt_flag())) {
    while (children.size() < job.at_once && next < job.count && !interrupt_flag()) {
      if (auto child = begin(job, next)) {
        children.push_back(std::move(*child));
      } else if (children.empty()) {
        ChildEnd end;
        end.exit_code = static_cast<int>(ExitCode::failed);
        end.said = fmt::format("The system gives no process to work in ({}); close other programs.",
                               std::strerror(errno));
        job.on_end(next, end);
      } else {
        break;  // again when one of those that run has ended
      }
      ++next;
    }
    if (interrupt_flag() && !were_stopped) {
      for (const Child& child : children) ::kill(child.process, SIGTERM);
      were_stopped = true;
    }
    std::vector<pollfd> pipes(children.size());
    std::ranges::transform(children, pipes.begin(), [](const Child& child) {
      return pollfd{child.pipe, POLLIN, 0};
    });
    if (::poll(pipes.data(), pipes.size(), look_up_every_ms) <= 0) continue;
    for (std::size_t i = pipes.size(); i-- > 0;) {
      if (pipes[i].revents == 0 || listen(children[i])) continue;
      Child ended = std::move(children[i]);
      children.erase(children.begin() + static_cast<std::ptrdiff_t>(i));
      const ChildEnd end = end_of(ended);
      job.on_end(ended.index, end);
    }
  }
  return !interrupt_flag();
}

}  // namespace lowstride::cli
