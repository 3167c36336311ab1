#include <fcntl.h>
#include <nettle/sha2.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>
#include <vector>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"
#include "src/audio/recording.hpp"

namespace lowstride::audio {

Result<std::string> content_hash_of(const std::filesystem::path& path, const WorkControl& control) {
  const auto size = check_readable_file(path);
  if (!size) return tl::unexpected(size.error());
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) {
    return fail(ErrorCode::unreadable,
                fmt::format("Cannot read {}: {}; check its permissions.", quoted(path),
                            std::generic_category().message(errno)));
  }
  sha256_ctx state;
  sha256_init(&state);
  std::vector<std::uint8_t> block(1U << 18U);
  Result<void> outcome;
  while (outcome) {
    const ssize_t count = ::read(descriptor, block.data(), block.size());
    if (count == 0) break;
    if (count > 0) {
      sha256_update(&state, static_cast<std::size_t>(count), block.data());
    } else if (errno != EINTR) {
      outcome = fail(ErrorCode::unreadable,
                     quoted(path) + " cannot be read to its end; check the medium it is on.");
    }
    if (control.is_cancelled()) {
      outcome = fail(ErrorCode::cancelled, "Stopped while reading " + quoted(path) + ".");
    }
  }
  ::close(descriptor);
  if (!outcome) return tl::unexpected(outcome.error());
  std::array<std::uint8_t, SHA256_DIGEST_SIZE> digest{};
  sha256_digest(&state, digest.size(), digest.data());
  std::string text;
  for (const std::uint8_t byte : digest) text += fmt::format("{:02x}", byte);
  return text;
}

}  // namespace lowstride::audio
