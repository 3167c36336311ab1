#include "tests/trust/killed.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <thread>

namespace lowstride::testing_help {

void Reporter::step_done(int number) const {
  if (::write(pipe_, &number, sizeof number) != sizeof number) ::_exit(99);
}

std::optional<int> killed_at_random(const std::function<void(const Reporter&)>& work,
                                    int most_microseconds, std::mt19937& random) {
  int ends[2];
  if (::pipe(ends) != 0) return std::nullopt;
  const pid_t child = ::fork();
  if (child < 0) return std::nullopt;
  if (child == 0) {
    ::close(ends[0]);
    work(Reporter(ends[1]));
    ::_exit(98);
  }
  ::close(ends[1]);
  int last = 0;
  const bool has_begun = ::read(ends[0], &last, sizeof last) == sizeof last;
  std::this_thread::sleep_for(
      std::chrono::microseconds(std::uniform_int_distribution<int>(0, most_microseconds)(random)));
  ::kill(child, SIGKILL);
  int status = 0;
  ::waitpid(child, &status, 0);
  for (int number = 0; ::read(ends[0], &number, sizeof number) == sizeof number;) last = number;
  ::close(ends[0]);
  if (!has_begun || !WIFSIGNALED(status) || WTERMSIG(status) != SIGKILL) return std::nullopt;
  return last;
}

}  // namespace lowstride::testing_help
