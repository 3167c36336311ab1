#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "src/audio/disk_file.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Floats in a DiskFile instead of in memory.
class DiskSamples {
 public:
  /// Errors: those of DiskFile::create.
  [[nodiscard]] static Result<std::unique_ptr<DiskSamples>> create();

  /// Errors: cannot_write (no room), naming the folder.
  [[nodiscard]] Result<void> append(std::span<const float> values);

  /// Fills `out` from value `begin` on; zeros outside what was appended. Safe from several threads
  /// while nobody appends. Errors: unreadable.
  [[nodiscard]] Result<void> read(std::int64_t begin, std::span<float> out) const;

  [[nodiscard]] std::int64_t value_count() const noexcept { return value_count_; }

 private:
  explicit DiskSamples(std::unique_ptr<DiskFile> file);

  std::unique_ptr<DiskFile> file_;
  std::int64_t value_count_ = 0;
};

}  // namespace lowstride::audio
