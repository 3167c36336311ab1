#include "src/cli/keyboard.hpp"

#include <poll.h>
#include <unistd.h>

namespace lowstride::cli {
namespace {

bool has_input(int milliseconds) noexcept {
  pollfd input{.fd = STDIN_FILENO, .events = POLLIN, .revents = 0};
  return ::poll(&input, 1, milliseconds) == 1 && (input.revents & POLLIN) != 0;
}

std::optional<char> read_byte() noexcept {
  char byte = 0;
  if (::read(STDIN_FILENO, &byte, 1) != 1) return std::nullopt;
  return byte;
}

}  // namespace

Keyboard::Keyboard() noexcept {
  termios now{};
  if (::isatty(STDIN_FILENO) != 1 || ::tcgetattr(STDIN_FILENO, &now) != 0) return;
  before_ = now;
  now.c_lflag &= static_cast<tcflag_t>(~(ICANON | ECHO));
  ::tcsetattr(STDIN_FILENO, TCSANOW, &now);
}

Keyboard::~Keyboard() {
  if (before_) ::tcsetattr(STDIN_FILENO, TCSANOW, &*before_);
}

Key Keyboard::wait(int milliseconds) noexcept {
  if (!before_) {
    (void)::poll(nullptr, 0, milliseconds);
    return Key::none;
  }
  if (!has_input(milliseconds)) return Key::none;
  const auto byte = read_byte();
  if (!byte) return Key::none;
  // Arrows come as ESC [ A to D (ECMA-48 cursor movements), or ESC O A to D.
  if (*byte != '\x1b') return static_cast<Key>(*byte);
  if (!has_input(10)) return Key::none;
  const auto second = read_byte();
  if (!second || (*second != '[' && *second != 'O') || !has_input(10)) return Key::none;
  switch (read_byte().value_or('\0')) {
    case 'A':
      return Key::up;
    case 'B':
      return Key::down;
    case 'C':
      return Key::right;
    case 'D':
      return Key::left;
    default:
      return Key::none;
  }
}

}  // namespace lowstride::cli
