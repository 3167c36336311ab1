#include "src/cli/console.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <cstdlib>

#include <fmt/format.h>

namespace lowstride::cli {
namespace {

std::atomic<bool> interrupted{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler writes it");

extern "C" void on_interrupt(int /*signal*/) {
  if (interrupted.exchange(true)) std::_Exit(static_cast<int>(ExitCode::interrupted));
}

double now_seconds() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

std::string time_left(double seconds) {
  const int whole = static_cast<int>(std::lround(seconds));
  return whole >= 60 ? fmt::format("{}:{:02} min left", whole / 60, whole % 60)
                     : fmt::format("{} s left", whole);
}

}  // namespace

const std::atomic<bool>& interrupt_flag() noexcept { return interrupted; }

void watch_for_interrupts() noexcept {
  struct sigaction action {};
  action.sa_handler = on_interrupt;
  sigemptyset(&action.sa_mask);
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

ExitCode tell(const Error& error) {
  if (error.code == ErrorCode::cancelled) {
    fmt::print(stderr, "lowstride: stopped; nothing was changed.\n");
    return ExitCode::interrupted;
  }
  fmt::print(stderr, "lowstride: {}\n", printable(error.message));
  return ExitCode::failed;
}

void remark(std::string_view sentence) {
  fmt::print(stderr, "lowstride: {}\n", printable(sentence));
}

std::string printable(std::string_view text) {
  std::string clean;
  clean.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    // C0 and DEL, and the C1 controls in their UTF-8 form (C2 80 .. C2 9F).
    const bool is_c1 = byte == 0xC2 && i + 1 < text.size() &&
                       static_cast<unsigned char>(text[i + 1]) >= 0x80 &&
                       static_cast<unsigned char>(text[i + 1]) <= 0x9F;
    if (is_c1) {
      clean += '?';
      ++i;
    } else if (byte < 0x20 || byte == 0x7F) {
      clean += '?';
    } else {
      clean += text[i];
    }
  }
  return clean;
}

int terminal_columns(int otherwise) noexcept {
  winsize size{};
  if (::isatty(STDOUT_FILENO) == 1 && ::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 &&
      size.ws_col > 0) {
    return size.ws_col;
  }
  return otherwise;
}

ProgressLine::ProgressLine()
    : is_terminal_(::isatty(STDERR_FILENO) == 1), started_seconds_(now_seconds()) {}

ProgressLine::~ProgressLine() {
  if (is_terminal_ && shown_seconds_ > 0.0) fmt::print(stderr, "\r\x1b[K");
}

WorkControl ProgressLine::control() {
  WorkControl control;
  control.cancel = &interrupt_flag();
  if (is_terminal_) {
    control.on_progress = [this](std::string_view stage, double share) { show(stage, share); };
  }
  return control;
}

void ProgressLine::show(std::string_view stage, double share) {
  const double now = now_seconds();
  if (now - shown_seconds_ < 0.1) return;
  shown_seconds_ = now;
  share = std::clamp(share, 0.0, 1.0);
  constexpr int width = 24;
  const auto filled = static_cast<std::size_t>(std::lround(share * width));
  const double passed = now - started_seconds_;
  const std::string left =
      share > 0.02 && passed > 0.5 ? time_left(passed * (1.0 - share) / share) : std::string();
  fmt::print(stderr, "\r\x1b[K[{}{}] {:3.0f} %  {}  {}", std::string(filled, '='),
             std::string(width - filled, ' '), 100.0 * share, stage, left);
  std::fflush(stderr);
}

}  // namespace lowstride::cli
