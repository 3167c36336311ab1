#pragma once

#include <cstdint>
#include <memory>
#include <mutex>
#include <span>
#include <vector>

#include "src/audio/disk_file.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Decoded sound in a DiskFile, 16 bits a value: 635 MB for an hour of stereo at 44.1 kHz. Values
/// are kept in blocks of 4096, each scaled by its own peak, so that decoders' peaks over full scale
/// stay whole and soft passages lose nothing: the error is at most 1/65534 of the block's peak,
/// 96 dB under it. One thread may append while others read.
class PackedSamples {
 public:
  /// Errors: those of DiskFile::create.
  [[nodiscard]] static Result<std::unique_ptr<PackedSamples>> create();

  /// Requires finite values. Errors: cannot_write (no room), naming the folder.
  [[nodiscard]] Result<void> append(std::span<const float> values);

  /// Fills `out` from value `begin` on. Requires 0 <= `begin`, and that all of it was appended.
  /// Errors: unreadable.
  [[nodiscard]] Result<void> read(std::int64_t begin, std::span<float> out) const;

 private:
  static constexpr std::size_t block_values = 4096;

  explicit PackedSamples(std::unique_ptr<DiskFile> file);
  [[nodiscard]] Result<void> put_block();

  std::unique_ptr<DiskFile> file_;
  mutable std::mutex mutex_;
  std::vector<float> scales_;  // guarded; of the blocks on disk
  std::vector<float> last_;    // guarded; what does not fill a block yet
};

}  // namespace lowstride::audio
