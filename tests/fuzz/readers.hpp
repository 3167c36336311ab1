#pragma once

#include <span>
#include <string_view>

namespace lowstride::fuzz {

/// What became of the bytes.
enum class Outcome { refused, read };

/// One way in which bytes from outside come into the program. `read` gives the bytes to the reader
/// and checks what every outcome promises; it ends the process where a promise is broken. The fuzz
/// target and the replay of the corpora (`tests/fuzz/corpus/NAME/`) both call this and nothing
/// else.
struct Reader {
  std::string_view name;
  Outcome (*read)(std::string_view bytes);
};

[[nodiscard]] std::span<const Reader> readers();

/// How often the decoder's child process ended without a last word since the program began.
[[nodiscard]] long child_death_count() noexcept;

}  // namespace lowstride::fuzz
