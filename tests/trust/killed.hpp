#pragma once

#include <sys/types.h>

#include <functional>
#include <optional>
#include <random>

namespace lowstride::testing_help {

/// What a child process tells before it is killed: the number of each step that has returned.
class Reporter {
 public:
  explicit Reporter(int pipe) noexcept : pipe_(pipe) {}
  /// Ends the process where nobody listens any more.
  void step_done(int number) const;

 private:
  int pipe_;
};

/// Runs `work` in a child process, kills it (SIGKILL) at a random moment from just after its first
/// step to `most_microseconds` later, and gives the number of the last step that it told of.
/// `work` never returns by itself; where it does, nullopt: what it gave up on is a failure.
[[nodiscard]] std::optional<int> killed_at_random(const std::function<void(const Reporter&)>& work,
                                                  int most_microseconds, std::mt19937& random);

}  // namespace lowstride::testing_help
