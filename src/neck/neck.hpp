#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace lowstride::neck {

/// An instrument's strings, tuning, capo, frets and scale length.
struct Neck {
  std::string name = "bass";
  std::vector<int> open_midi{28, 33, 38, 43};  // sounding pitch of each open string, lowest first
  int capo = 0;                                // fret that acts as the nut; 0 = none
  int fret_count = 20;
  double scale_mm = 864.0;  // nut to bridge

  [[nodiscard]] int string_count() const noexcept { return static_cast<int>(open_midi.size()); }

  bool operator==(const Neck&) const = default;
};

/// Where a note is played. `string_number` 1 = highest string; `fret` as players count it from the
/// nut (from the capo when there is one); `finger` 0 = open, 1..4 = index to little finger.
struct Position {
  int string_number = 1;
  int fret = 0;
  int finger = 0;

  bool operator==(const Position&) const = default;
};

/// How a note is sounded: plucked, or by the stopping hand alone from the note before it on its
/// string: hammered on (pulled off where it is lower), or slid to by the finger that is there.
enum class Articulation : std::uint8_t { plucked, hammered, slid };

/// How a hand likes to play a line.
struct FingeringOptions {
  std::optional<int> position_fret = std::nullopt;  // where the index finger should mostly be
  bool prefer_open = false;                         // open strings wherever there is one
  bool prefer_low = true;                           // low positions where no position is asked for
  double max_span_mm = 135.0;              // index to little finger, never exceeded; 40..300
  std::vector<int> left_out_strings = {};  // numbers of strings that are not played

  bool operator==(const FingeringOptions&) const = default;
};

}  // namespace lowstride::neck
