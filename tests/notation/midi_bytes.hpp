#pragma once

#include <algorithm>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

namespace lowstride::notation::midi_bytes {

/// Writes Standard MIDI Files byte by byte, apart from the project's own writer.
inline std::string big_endian(std::uint32_t value, int count) {
  std::string bytes;
  for (int shift = 8 * (count - 1); shift >= 0; shift -= 8) {
    bytes += static_cast<char>((value >> static_cast<unsigned>(shift)) & 0xFFU);
  }
  return bytes;
}
inline std::string variable_length(std::uint32_t value) {
  std::string bytes(1, static_cast<char>(value & 0x7FU));
  while ((value >>= 7U) != 0U)
    bytes.insert(bytes.begin(), static_cast<char>((value & 0x7FU) | 0x80U));
  return bytes;
}
inline std::string meta(int type, const std::string& data) {
  return std::string{'\xFF', static_cast<char>(type)} +
         variable_length(static_cast<std::uint32_t>(data.size())) + data;
}
inline std::string tempo(int microseconds) {
  return meta(0x51, big_endian(static_cast<std::uint32_t>(microseconds), 3));
}
inline std::string meter(int numerator, int power) {
  return meta(0x58, std::string{static_cast<char>(numerator), static_cast<char>(power), 24, 8});
}
inline std::string note_on(int midi, int channel = 0) {
  return {static_cast<char>(0x90 + channel), static_cast<char>(midi), 90};
}
inline std::string note_off(int midi, int channel = 0) {
  return {static_cast<char>(0x80 + channel), static_cast<char>(midi), 64};
}

using Events = std::vector<std::pair<std::int64_t, std::string>>;  // tick, bytes

inline std::string track(Events events) {
  std::ranges::stable_sort(events, {}, [](const auto& event) { return event.first; });
  std::string body;
  std::int64_t now = 0;
  for (const auto& [tick, bytes] : events) {
    body += variable_length(static_cast<std::uint32_t>(tick - now)) + bytes;
    now = tick;
  }
  body += std::string{'\0'} + meta(0x2F, "");
  return "MTrk" + big_endian(static_cast<std::uint32_t>(body.size()), 4) + body;
}
inline std::string file(int format, int division, const std::vector<std::string>& tracks) {
  std::string bytes = "MThd" + big_endian(6, 4) +
                      big_endian(static_cast<std::uint32_t>(format), 2) +
                      big_endian(static_cast<std::uint32_t>(tracks.size()), 2) +
                      big_endian(static_cast<std::uint32_t>(division), 2);
  for (const std::string& one : tracks) bytes += one;
  return bytes;
}

}  // namespace lowstride::notation::midi_bytes
