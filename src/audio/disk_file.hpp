#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "src/base/result.hpp"

namespace lowstride::audio {

/// Working data on disk: an unlinked file in $XDG_CACHE_HOME/lowstride, ~/.cache/lowstride or the
/// folder for temporary files, whichever can be written first. It vanishes with the object, and
/// with the program if that dies. Places are bytes from the file's start; both calls may be made
/// from several threads, each at places of its own.
class DiskFile {
 public:
  /// Errors: cannot_write (none of the folders takes a file).
  [[nodiscard]] static Result<std::unique_ptr<DiskFile>> create();
  DiskFile(const DiskFile&) = delete;
  DiskFile& operator=(const DiskFile&) = delete;
  ~DiskFile();

  /// Errors: cannot_write (no room), naming the folder.
  [[nodiscard]] Result<void> write(std::int64_t place, std::span<const std::byte> bytes);
  /// Reads what was written. Errors: unreadable.
  [[nodiscard]] Result<void> read(std::int64_t place, std::span<std::byte> bytes) const;

 private:
  DiskFile(int descriptor, std::string folder);

  int descriptor_;
  std::string folder_;
};

}  // namespace lowstride::audio
