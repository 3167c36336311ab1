#include "src/audio/file_facts.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>
#include <string_view>
#include <system_error>

#include <fmt/format.h>

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

std::uint64_t big_endian(const unsigned char* bytes, int count) {
  std::uint64_t value = 0;
  for (int i = 0; i < count; ++i) value = value << 8U | bytes[i];
  return value;
}

std::uint64_t little_endian(const unsigned char* bytes, int count) {
  std::uint64_t value = 0;
  for (int i = count - 1; i >= 0; --i) value = value << 8U | bytes[i];
  return value;
}

/// The bytes from `offset` on, as many as there are, into `out`; returns how many.
std::size_t peek(std::ifstream& file, std::uint64_t offset, unsigned char* out, std::size_t count) {
  file.clear();
  file.seekg(static_cast<std::streamoff>(offset));
  file.read(reinterpret_cast<char*>(out), static_cast<std::streamsize>(count));
  return static_cast<std::size_t>(file.gcount());
}

bool matches(const unsigned char* bytes, const char* name) {
  return std::memcmp(bytes, name, 4) == 0;
}

/// Length of the UTF-8 character that `text` begins with, 0 when it is broken.
std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  std::size_t length = 0;
  if (byte(0) < 0x80U) return 1;
  if (byte(0) >= 0xC2U && byte(0) < 0xE0U) length = 2;
  if (byte(0) >= 0xE0U && byte(0) < 0xF0U) length = 3;
  if (byte(0) >= 0xF0U && byte(0) < 0xF5U) length = 4;
  if (length == 0 || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0U) != 0x80U) return 0;
  }
  if (byte(0) == 0xE0U && byte(1) < 0xA0U) return 0;
  if (byte(0) == 0xEDU && byte(1) >= 0xA0U) return 0;
  if (byte(0) == 0xF0U && byte(1) < 0x90U) return 0;
  if (byte(0) == 0xF4U && byte(1) >= 0x90U) return 0;
  return length;
}

/// Control characters in one or two bytes, and those that turn the writing direction around.
bool is_control(std::string_view character) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(character[i]); };
  if (character.size() == 1) return byte(0) < 0x20U || byte(0) == 0x7FU;
  if (character.size() == 2) return byte(0) == 0xC2U && byte(1) < 0xA0U;
  if (character.size() == 3 && byte(0) == 0xE2U) {
    return (byte(1) == 0x80U && byte(2) >= 0xA8U && byte(2) <= 0xAEU) ||
           (byte(1) == 0x81U && byte(2) >= 0xA6U && byte(2) <= 0xA9U);
  }
  return false;
}

}  // namespace

std::string quoted(const fs::path& path) {
  std::string text = path.string();
  for (char& character : text) {
    const auto byte = static_cast<unsigned char>(character);
    if (byte < 0x20U || byte == 0x7FU) character = '?';
  }
  return "'" + text + "'";
}

std::string clean_tag(std::string_view text, std::size_t limit_bytes) {
  std::string clean;
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    if (length == 0) {
      text.remove_prefix(1);
      continue;
    }
    const std::string_view character = text.substr(0, length);
    if (clean.size() + length > limit_bytes) break;
    if (!is_control(character)) clean += character;
    text.remove_prefix(length);
  }
  return clean;
}

std::string spoken_duration(double seconds) {
  if (seconds < 10.0) return fmt::format("{:.1f} s", seconds);
  const auto whole = static_cast<long long>(std::llround(seconds));
  if (whole < 60) return fmt::format("{} s", whole);
  if (whole < 3600) return fmt::format("{} min {} s", whole / 60, whole % 60);
  return fmt::format("{} h {} min", whole / 3600, whole % 3600 / 60);
}

Result<std::uintmax_t> check_readable_file(const fs::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return fail(ErrorCode::not_found, quoted(path) + " is not there; check the name.");
    }
    return fail(ErrorCode::unreadable,
                fmt::format("Cannot read {}: {}; check the name and its permissions.", quoted(path),
                            std::generic_category().message(errno)));
  }
  if (S_ISDIR(status.st_mode)) {
    return fail(ErrorCode::unreadable, quoted(path) + " is a folder; name a recording in it.");
  }
  if (!S_ISREG(status.st_mode)) {
    return fail(ErrorCode::unreadable,
                quoted(path) + " is a device or a pipe; save the recording as a file first.");
  }
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (descriptor < 0) {
    return fail(ErrorCode::unreadable,
                fmt::format("Cannot read {}: {}; check its permissions.", quoted(path),
                            std::generic_category().message(errno)));
  }
  ::close(descriptor);
  if (status.st_size == 0) {
    return fail(ErrorCode::not_audio,
                quoted(path) + " is empty; copy or export the recording again.");
  }
  return static_cast<std::uintmax_t>(status.st_size);
}

std::optional<PromisedData> promised_data(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::error_code error;
  const std::uint64_t file_size = fs::file_size(path, error);
  std::array<unsigned char, 40> head{};
  if (error || peek(file, 0, head.data(), 12) < 12) return std::nullopt;

  const bool is_rf64 = matches(head.data(), "RF64");
  const bool is_wave = (matches(head.data(), "RIFF") || is_rf64) && matches(&head[8], "WAVE");
  const bool is_aiff =
      matches(head.data(), "FORM") && (matches(&head[8], "AIFF") || matches(&head[8], "AIFC"));
  const bool is_caf = matches(head.data(), "caff");
  if (!is_wave && !is_aiff && !is_caf) return std::nullopt;

  const std::size_t header_bytes = is_caf ? 12 : 8;
  const char* const data_name = is_aiff ? "SSND" : "data";
  std::uint64_t long_size = 0;  // of RF64's data, from its ds64 chunk
  std::uint64_t offset = is_caf ? 8 : 12;
  // A file has a handful of chunks; the bound keeps a crafted one from being walked for hours.
  for (int chunk = 0; chunk < 10000 && offset + header_bytes <= file_size; ++chunk) {
    if (peek(file, offset, head.data(), header_bytes) < header_bytes) return std::nullopt;
    std::uint64_t size = is_wave   ? little_endian(&head[4], 4)
                         : is_aiff ? big_endian(&head[4], 4)
                                   : big_endian(&head[4], 8);
    offset += header_bytes;
    if (is_rf64 && matches(head.data(), "ds64")) {
      std::array<unsigned char, 16> sizes{};
      if (peek(file, offset, sizes.data(), sizes.size()) == sizes.size()) {
        long_size = little_endian(&sizes[8], 8);
      }
    }
    if (matches(head.data(), data_name)) {
      const std::uint64_t unknown = is_caf ? ~std::uint64_t{0} : 0xFFFFFFFFU;
      if (is_rf64 && size == unknown) size = long_size;
      // 0x7FFFF000 and up is what recorders write when they cannot know: nothing is promised.
      const bool is_promise =
          size != 0 && size != unknown && (is_caf || is_rf64 || size < 0x7FFFF000U);
      if (!is_promise) return std::nullopt;
      return PromisedData{size, std::min(size, file_size - offset)};
    }
    if (size > file_size) return std::nullopt;
    offset += size + (is_caf ? 0 : size & 1U);
  }
  return std::nullopt;
}

std::string cut_off_note(double missing_seconds, double whole_seconds) {
  return fmt::format("The file breaks off: {} of {} are missing at the end.",
                     spoken_duration(missing_seconds), spoken_duration(whole_seconds));
}

std::string cut_off_data_note(const fs::path& path, double present_seconds) {
  const auto data = promised_data(path);
  if (!data || data->present_bytes == 0 || data->present_bytes >= data->promised_bytes) return {};
  const double whole_seconds = present_seconds * static_cast<double>(data->promised_bytes) /
                               static_cast<double>(data->present_bytes);
  return cut_off_note(whole_seconds - present_seconds, whole_seconds);
}

bool is_mpeg_audio(const fs::path& path) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (ending == ".mp3" || ending == ".mp2" || ending == ".mp1") return true;
  std::ifstream file(path, std::ios::binary);
  std::array<unsigned char, 10> head{};
  if (peek(file, 0, head.data(), head.size()) < head.size()) return false;
  std::uint64_t offset = 0;
  if (std::memcmp(head.data(), "ID3", 3) == 0) {
    // ID3v2.4.0 section 3.1: four bytes of seven bits each; a footer doubles the header.
    offset = 10;
    for (std::size_t i = 6; i < 10; ++i) {
      offset += static_cast<std::uint64_t>(head[i] & 0x7FU) << (7U * (9U - i));
    }
    if ((head[5] & 0x10U) != 0) offset += 10;
    if (peek(file, offset, head.data(), 4) < 4) return false;
  }
  // ISO/IEC 11172-3, 2.4.2.3: eleven bits of sync (one less than in the standard, for MPEG-2.5),
  // version, layer, protection, bit rate, sampling frequency; none of them with a reserved value.
  return head[0] == 0xFFU && (head[1] & 0xE0U) == 0xE0U && (head[1] & 0x18U) != 0x08U &&
         (head[1] & 0x06U) != 0 && (head[2] & 0xF0U) != 0xF0U && (head[2] & 0x0CU) != 0x0CU;
}

}  // namespace lowstride::audio
