#pragma once

#include <cstdint>
#include <filesystem>

#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Times its own size that a file may unpack to, at two bytes a value. Digital silence, which packs
/// best, reaches 1,200 in the FLAC files of usual encoders and 7,500 with the longest blocks and
/// most channels that they can be asked for; sound at 6 kbit/s reaches 130. Only files made to fill
/// disks reach more. What unpacks to less than 64 MiB is not weighed.
inline constexpr double largest_unpacking_ratio = 10000.0;
inline constexpr double weighed_unpacked_bytes = 64.0 * 1024.0 * 1024.0;

/// Errors: unsupported, when rate or channel count is beyond the limits of recording.hpp.
[[nodiscard]] Result<void> check_limits(const RecordingInfo& info);

/// Errors: unsupported, when there is no sound at all, or more than six hours, or too much for the
/// file's size (check_unpacking).
[[nodiscard]] Result<void> check_length(const RecordingInfo& info);

/// Whether so many samples may come out of a file of this size. Errors: unsupported, beyond
/// largest_unpacking_ratio.
[[nodiscard]] Result<void> check_unpacking(const std::filesystem::path& path,
                                           std::uintmax_t file_bytes, std::int64_t sample_count,
                                           int channel_count);

}  // namespace lowstride::audio
