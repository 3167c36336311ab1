#pragma once

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

}  // namespace lowstride::neck
