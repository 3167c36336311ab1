#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "src/base/result.hpp"

namespace lowstride::audio {

/// A path for a message: in quotes, with control characters as '?', so that a strange file name
/// cannot write to the terminal.
[[nodiscard]] std::string quoted(const std::filesystem::path& path);

/// UTF-8 text of a tag for people: control characters and broken UTF-8 removed, at most
/// `limit_bytes` long, cut between characters.
[[nodiscard]] std::string clean_tag(std::string_view text, std::size_t limit_bytes = 512);

/// A length for people: "3 h 20 min", "4 min 5 s", "2.5 s".
[[nodiscard]] std::string spoken_duration(double seconds);

/// Size in bytes of a file that can be read. Errors: not_found, unreadable (permission, a folder,
/// a device or pipe), not_audio (empty).
[[nodiscard]] Result<std::uintmax_t> check_readable_file(const std::filesystem::path& path);

/// Bytes of sound that the header of a WAV, RF64, AIFF or CAF file promises, where it does: a
/// recorder that writes to a pipe or was cut off leaves 0 or all ones, which is no promise.
struct PromisedData {
  std::uint64_t promised_bytes = 0;
  std::uint64_t present_bytes = 0;
};
[[nodiscard]] std::optional<PromisedData> promised_data(const std::filesystem::path& path);

/// "The file breaks off: 3 s of 20 s are missing at the end."
[[nodiscard]] std::string cut_off_note(double missing_seconds, double whole_seconds);

/// The same, where `promised_data` tells that a file of which `present_seconds` can be read is
/// shorter than its header says; else empty.
[[nodiscard]] std::string cut_off_data_note(const std::filesystem::path& path,
                                            double present_seconds);

/// Whether a file is MPEG audio (MP3 and its older kin) by its first bytes, or by its ending.
[[nodiscard]] bool is_mpeg_audio(const std::filesystem::path& path);

}  // namespace lowstride::audio
