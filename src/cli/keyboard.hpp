#pragma once

#include <optional>

#include <termios.h>

namespace lowstride::cli {

/// A key as `lowstride play` knows it: a character, or one of these.
enum class Key : int { up = 1000, down, left, right, none };

/// The terminal on standard input giving each key as it is pressed, without showing it, while this
/// object lives; Ctrl-C still interrupts. Where standard input is no terminal there are no keys.
class Keyboard {
 public:
  Keyboard() noexcept;
  Keyboard(const Keyboard&) = delete;
  Keyboard& operator=(const Keyboard&) = delete;
  ~Keyboard();

  [[nodiscard]] bool is_there() const noexcept { return before_.has_value(); }
  /// Waits up to `milliseconds` for a key; `Key::none` without one. Characters are themselves.
  [[nodiscard]] Key wait(int milliseconds) noexcept;

 private:
  std::optional<termios> before_;
};

}  // namespace lowstride::cli
