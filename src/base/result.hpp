#pragma once

#include <string>
#include <utility>

#include <tl/expected.hpp>

namespace lowstride {

/// What kind of thing went wrong; tests and callers branch on this, people read the message.
enum class ErrorCode {
  not_found,         // a file, passage or device that is not there
  unreadable,        // no permission, or the medium failed
  not_audio,         // nothing we can decode
  damaged,           // it began well and then made no sense
  unsupported,       // understood, and beyond what we do (too long, too short, newer version)
  invalid_argument,  // a value typed by a person that has no meaning here
  cannot_write,      // full disk, read-only folder
  conflict,          // somebody else's work is in the way
  no_device,
  cancelled,
};

/// One sentence that names the file or flag and the cure, and a code.
struct Error {
  ErrorCode code = ErrorCode::unreadable;
  std::string message;

  bool operator==(const Error&) const = default;
};

template <typename T>
using Result = tl::expected<T, Error>;

/// `return fail(ErrorCode::not_found, "…");` from a function that returns any Result.
[[nodiscard]] inline tl::unexpected<Error> fail(ErrorCode code, std::string message) {
  return tl::unexpected<Error>(Error{code, std::move(message)});
}

}  // namespace lowstride
