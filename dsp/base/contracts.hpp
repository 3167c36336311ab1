#pragma once

namespace lowstride::detail {

/// Prints the broken promise with its place and aborts. Never returns.
[[noreturn]] void contract_broken(const char* condition, const char* file, int line) noexcept;

}  // namespace lowstride::detail

/// Stops the program when `condition` is false, in every kind of build. For mistakes of our own
/// (a span of the wrong size) only: what a file, a device or a person can cause is a `Result`.
#define LOWSTRIDE_EXPECTS(condition)  \
  ((condition) ? static_cast<void>(0) \
               : ::lowstride::detail::contract_broken(#condition, __FILE__, __LINE__))
