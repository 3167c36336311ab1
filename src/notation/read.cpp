#include "src/notation/read.hpp"

#include <fstream>
#include <iterator>
#include <string>

#include <fmt/format.h>

namespace lowstride::notation {
namespace {

/// The first bytes of a file; empty where there is none.
std::string beginning_of(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::string bytes(512, '\0');
  stream.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  bytes.resize(static_cast<std::size_t>(stream.gcount()));
  return bytes;
}

/// XML in UTF-8 or UTF-16, with or without a byte order mark.
bool is_xml(const std::string& bytes) {
  std::string plain;
  for (const char byte : bytes) {
    if (byte != '\0' && (static_cast<unsigned char>(byte) < 0x80U)) plain += byte;
  }
  const auto first = plain.find_first_not_of(" \t\r\n");
  return first != std::string::npos && plain[first] == '<';
}

}  // namespace

Result<ReadTake> read_line(const std::filesystem::path& path, const ReadOptions& options) {
  const std::string ending = path.extension().string();
  const bool is_named_notation =
      ending == ".mid" || ending == ".midi" || ending == ".musicxml" || ending == ".xml";
  std::error_code error;
  if (!std::filesystem::is_regular_file(path, error)) {
    if (!is_named_notation) return read_tables(path, options);
    return fail(ErrorCode::not_found,
                fmt::format("'{}' is not there; check the name.", path.string()));
  }
  const std::string bytes = beginning_of(path);
  if (bytes.starts_with("RIFF") && bytes.substr(0, 12).ends_with("RMID")) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' is wrapped as RIFF; export it as a plain MIDI file (.mid).",
                            path.string()));
  }
  if (bytes.starts_with("MThd")) return read_midi(path, options);
  if (bytes.starts_with("PK")) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' is compressed; export it as uncompressed MusicXML (.musicxml).",
                            path.string()));
  }
  if (is_xml(bytes)) return read_musicxml(path, options);
  if (is_named_notation) {
    return fail(ErrorCode::damaged,
                fmt::format("'{}' is not what its name says; export it again from where it came.",
                            path.string()));
  }
  return read_tables(path, options);
}

}  // namespace lowstride::notation
