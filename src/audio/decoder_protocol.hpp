#pragma once

#include <array>
#include <cstdint>

/// What `lowstride-decode FILE [FROM]` writes to its standard output, in the machine's own byte
/// order (both ends are this machine): one Greeting, then messages, each a Message followed by
/// `size` bytes. The last message is `end` or `failure`; anything else than this is a fault.
namespace lowstride::audio::protocol {

inline constexpr std::array<char, 8> magic{'L', 'S', 'D', 'E', 'C', '0', '0', '1'};
inline constexpr std::uint32_t largest_block_bytes = 1U << 20U;
inline constexpr std::uint32_t largest_text_bytes = 1024;

enum class Kind : std::uint32_t {
  header = 1,   // a Header; first, once
  title = 2,    // UTF-8 text, up to largest_text_bytes
  artist = 3,   // the same
  format = 4,   // the same: names of codec and container
  samples = 5,  // interleaved floats, whole samples, up to largest_block_bytes
  end = 6,      // an End
  failure = 7,  // a Failure
  skipped = 8,  // std::int64_t: so many samples before FROM were not decoded; after the header
};

struct Message {
  std::uint32_t kind = 0;
  std::uint32_t size = 0;
};

struct Header {
  std::uint32_t sample_rate_hz = 0;
  std::uint32_t channel_count = 0;
  std::int64_t promised_sample_count = -1;  // by the container; -1: it says nothing
};

struct End {
  std::uint32_t damaged_packet_count = 0;  // could not be decoded; silence stands for them
  std::uint32_t is_cut_off = 0;            // the file ended in the middle of something
};

enum class Failure : std::uint32_t {
  not_audio = 1,    // no container known to us
  no_sound = 2,     // a container without a sound track
  no_codec = 3,     // a sound track that nobody here decodes
  undecodable = 4,  // a sound track without a sample that can be decoded
  out_of_memory = 5,
};

}  // namespace lowstride::audio::protocol
