#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "src/base/result.hpp"

namespace lowstride::audio {

/// Floats on disk instead of in memory: an unlinked file in $XDG_CACHE_HOME/lowstride,
/// ~/.cache/lowstride or the folder for temporary files, whichever can be written first. It
/// vanishes with the object, and with the program if that dies.
class DiskSamples {
 public:
  /// Errors: cannot_write (none of the folders takes a file).
  [[nodiscard]] static Result<std::unique_ptr<DiskSamples>> create();
  DiskSamples(const DiskSamples&) = delete;
  DiskSamples& operator=(const DiskSamples&) = delete;
  ~DiskSamples();

  /// Errors: cannot_write (no room), naming the folder.
  [[nodiscard]] Result<void> append(std::span<const float> values);

  /// Fills `out` from value `begin` on; zeros outside what was appended. Safe from several threads
  /// while nobody appends. Errors: unreadable.
  [[nodiscard]] Result<void> read(std::int64_t begin, std::span<float> out) const;

  [[nodiscard]] std::int64_t value_count() const noexcept { return value_count_; }

 private:
  DiskSamples(int descriptor, std::string folder);

  int descriptor_;
  std::string folder_;
  std::int64_t value_count_ = 0;
};

}  // namespace lowstride::audio
