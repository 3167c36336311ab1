#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>

#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// A recording read once from start to end, for the analysis: what needs the decoding program is
/// not put on disk first.
class ForwardStream {
 public:
  ForwardStream() = default;
  ForwardStream(const ForwardStream&) = delete;
  ForwardStream& operator=(const ForwardStream&) = delete;
  virtual ~ForwardStream() = default;

  /// Rate, channels, names, hash; `sample_count`, `lost_note` and `non_finite_count` are final when
  /// the end has been reached.
  [[nodiscard]] virtual const RecordingInfo& info() const noexcept = 0;
  /// Samples to come in all, for progress; nullopt where nobody knows yet.
  [[nodiscard]] virtual std::optional<std::int64_t> expected_sample_count() const noexcept = 0;
  /// Whether `info().sample_count` is final already, so that one may stop before the end.
  [[nodiscard]] virtual bool is_length_known() const noexcept = 0;
  /// The next block, interleaved and finite; empty at the end. Valid until the next call.
  [[nodiscard]] virtual Result<std::span<const float>> next_block() = 0;
};

/// Opens a recording at one of its samples; past its end there is nothing to read.
/// Requires `begin_sample` >= 0. Errors: those of open_recording.
[[nodiscard]] Result<std::unique_ptr<ForwardStream>> open_forward(const std::filesystem::path& path,
                                                                  std::int64_t begin_sample,
                                                                  const OpenOptions& options,
                                                                  const WorkControl& control);

}  // namespace lowstride::audio
