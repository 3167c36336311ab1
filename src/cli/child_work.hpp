#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <string>

namespace lowstride::cli {

/// How the work of one child process ended.
struct ChildEnd {
  int exit_code = 0;
  std::optional<int> signal_number;  // when a signal ended it; then exit_code means nothing
  std::string said;                  // what it wrote to standard error, 64 KiB at most
};

struct ChildWork {
  std::size_t count = 0;                 // pieces of work, 0 .. count - 1
  std::size_t at_once = 1;               // child processes at a time, 1 or more
  std::function<int(std::size_t)> work;  // runs in the child; gives its exit code
  std::function<void(std::size_t, const ChildEnd&)> on_end;  // runs here, in the order of ending
};

/// Does pieces of work in child processes of this program, so that one which crashes, hangs in bad
/// memory or is killed takes nothing with it. Children write nothing to this program's output and
/// read nothing from its input; they end when it ends. After Ctrl-C (`interrupt_flag()`) none is
/// begun and the running ones are asked to stop as if each had got the Ctrl-C itself. False when
/// that happened. Requires that this process has one thread.
[[nodiscard]] bool do_in_children(const ChildWork& job);

}  // namespace lowstride::cli
