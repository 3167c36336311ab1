#include "src/audio/recording_limits.hpp"

#include <system_error>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"

namespace lowstride::audio {

Result<void> check_limits(const RecordingInfo& info) {
  const std::string name = quoted(info.path);
  if (info.channel_count < 1 || info.channel_count > largest_channel_count) {
    return fail(ErrorCode::unsupported,
                fmt::format("{} has {} channels and up to {} can be read; mix it to stereo first.",
                            name, info.channel_count, largest_channel_count));
  }
  if (info.sample_rate_hz < lowest_sample_rate_hz || info.sample_rate_hz > highest_sample_rate_hz) {
    return fail(ErrorCode::unsupported,
                fmt::format("{} has a sample rate of {} Hz and 8000 to 192000 Hz can be read; "
                            "convert it to 48000 Hz first.",
                            name, info.sample_rate_hz));
  }
  return {};
}

Result<void> check_length(const RecordingInfo& info) {
  if (info.sample_count == 0) {
    const std::string why = info.lost_note.empty() ? "" : " any more";
    return fail(
        ErrorCode::unsupported,
        fmt::format("{} has no sound in it{}; export or record it again.", quoted(info.path), why));
  }
  if (info.duration_seconds() > longest_recording_seconds) {
    return fail(ErrorCode::unsupported,
                fmt::format("{} is {} long and up to {:.0f} hours can be read; cut it into shorter "
                            "pieces.",
                            quoted(info.path), spoken_duration(info.duration_seconds()),
                            longest_recording_seconds / 3600.0));
  }
  std::error_code error;
  const std::uintmax_t file_bytes = std::filesystem::file_size(info.path, error);
  if (error) return {};  // it was read: another place tells what is wrong with it now
  return check_unpacking(info.path, file_bytes, info.sample_count, info.channel_count);
}

Result<void> check_unpacking(const std::filesystem::path& path, std::uintmax_t file_bytes,
                             std::int64_t sample_count, int channel_count) {
  const double unpacked_bytes = 2.0 * static_cast<double>(sample_count) * channel_count;
  if (unpacked_bytes <= weighed_unpacked_bytes ||
      unpacked_bytes <= largest_unpacking_ratio * static_cast<double>(file_bytes)) {
    return {};
  }
  return fail(ErrorCode::unsupported,
              fmt::format("{} would unpack to more than {:.0f} times its own size, which no "
                          "recording does; export it again.",
                          quoted(path), largest_unpacking_ratio));
}

}  // namespace lowstride::audio
