#pragma once

#include <atomic>
#include <string>
#include <string_view>

#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::cli {

/// How a command ends; the contract of every command.
enum class ExitCode : int { done = 0, failed = 1, wrong_usage = 2, interrupted = 130 };

/// Set by Ctrl-C and by a request to terminate; long work looks at it and leaves nothing half done.
[[nodiscard]] const std::atomic<bool>& interrupt_flag() noexcept;

/// From now on Ctrl-C sets `interrupt_flag()`; a second one ends the program at once.
void watch_for_interrupts() noexcept;

/// Says on standard error what went wrong, in the error's one sentence.
[[nodiscard]] ExitCode tell(const Error& error);

/// A sentence on standard error that is no failure.
void remark(std::string_view sentence);

/// Text from outside (file names, tags) with control characters taken out, fit for a terminal.
[[nodiscard]] std::string printable(std::string_view text);

/// Columns of the terminal on standard output, or `otherwise` when it is none.
[[nodiscard]] int terminal_columns(int otherwise) noexcept;

/// A line on standard error with bar, stage and time left, while it lives and only on a terminal.
class ProgressLine {
 public:
  ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  ~ProgressLine();

  /// For work that reports from one thread while this object lives.
  [[nodiscard]] WorkControl control();

 private:
  void show(std::string_view stage, double share);

  bool is_terminal_;
  double started_seconds_;
  double shown_seconds_ = 0.0;
};

}  // namespace lowstride::cli
