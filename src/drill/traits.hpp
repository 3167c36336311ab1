#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace lowstride::drill::detail {

/// "fourth down", "half step up", "unison", "over an octave up".
[[nodiscard]] std::string interval_text(int semitones);

/// Registers of a bass and of a guitar's low strings, half an octave or so each: 0..3.
[[nodiscard]] std::size_t register_index(int midi) noexcept;
/// "below A1", "A1 to Eb2", "E2 to B2", "C3 and above".
[[nodiscard]] std::string_view register_text(int midi) noexcept;

}  // namespace lowstride::drill::detail
