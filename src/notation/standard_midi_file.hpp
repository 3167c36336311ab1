#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"

namespace lowstride::notation {

struct SmfNote {
  std::int64_t on_tick = 0;
  std::int64_t off_tick = 0;  // >= on_tick
  int channel = 0;            // 0..15
  int midi = 0;
  int velocity = 0;

  bool operator==(const SmfNote&) const = default;
};

struct SmfText {
  std::int64_t tick = 0;
  std::string text;
};

struct SmfTempo {
  std::int64_t tick = 0;
  int microseconds_a_quarter = 500000;
};

struct SmfMeter {
  std::int64_t tick = 0;
  int numerator = 4;
  int denominator = 4;
};

struct SmfKey {
  std::int64_t tick = 0;
  int sharps = 0;  // -7..7
  bool is_minor = false;
};

struct SmfTrack {
  std::string name;
  std::vector<SmfNote> notes;                // by the tick at which they end
  std::vector<std::optional<int>> programs;  // of each of 16 channels: the first set
  std::int64_t end_tick = 0;
};

/// What a Standard MIDI File says, as far as a line needs it.
struct SmfFile {
  int format = 1;
  int ticks_a_quarter = 0;      // 0 where the file counts frames of a second instead
  double ticks_a_second = 0.0;  // where it does
  std::vector<SmfTrack> tracks;
  std::vector<SmfTempo> tempos;  // of all tracks, in order of time
  std::vector<SmfMeter> meters;
  std::vector<SmfKey> keys;
  std::vector<SmfText> markers;
  std::vector<SmfText> cues;
  std::vector<std::string> damages;  // one sentence each: where a track makes no sense any more
};

/// Reads the bytes of a file. A track that makes no sense from some byte on (a data byte without a
/// status, an event cut off) keeps what came before and is named in `damages`. `name` is how
/// sentences call the file. Errors: damaged (no such file, or no track at all), unsupported
/// (format 2). Source: Standard MIDI Files 1.0, MIDI Manufacturers Association, 1988.
[[nodiscard]] Result<SmfFile> parse_smf(std::string_view bytes, std::string_view name);

}  // namespace lowstride::notation
