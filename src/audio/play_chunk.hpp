#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace lowstride::audio {

/// Finished sound on its way to the audio thread: up to 256 samples of each voice, apart, so that
/// the mix is decided when they are heard.
struct PlayChunk {
  static constexpr std::size_t capacity = 256;
  enum Voice : std::uint8_t { left, right, line, chords, click, voice_count };

  std::array<std::array<float, capacity>, voice_count> voices{};
  std::size_t sample_count = 0;
  /// Counts all chunks; the audio thread changes over to a newer run at one of these.
  std::uint64_t serial = 0;
  /// Chunks of one run follow each other without a break; each seek begins a new run.
  std::uint64_t run = 0;
  std::uint64_t seek = 0;  // the newest seek that this run obeys
  /// Places of the recording at the first sample and after the last, straight between them.
  double begin_place = 0.0;
  double end_place = 0.0;
  bool is_counting_in = false;
  bool is_end = false;  // nothing comes after it

  [[nodiscard]] std::span<float> voice(Voice which, std::size_t begin, std::size_t count) {
    return std::span<float>(voices[which]).subspan(begin, count);
  }
};

}  // namespace lowstride::audio
