#pragma once

#include <vector>

#include "src/neck/fingering.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::neck {

/// A hand on the neck at one note. Frets are counted from the capo.
struct Grip {
  int string_number = 1;
  int fret = 0;
  int finger = 0;      // 0 = open string, 1..4
  int index_fret = 1;  // where the index finger is; under an open string the hand stays there

  bool operator==(const Grip&) const = default;
};

/// What a hand can reach and what it costs, in millimetres of comfortable movement. All costs are
/// >= 0. Weights were chosen so that the lines of the room's tests come out as common practice
/// has them.
class Hand {
 public:
  /// Requires check(neck) to hold.
  Hand(const Neck& neck, const FingeringOptions& options);

  /// Every grip that plays the note, lower strings first, then lower hands; empty when the neck
  /// does not have it. A dead note that the neck does not have may be struck on any open string.
  [[nodiscard]] std::vector<Grip> grips(const LineNote& note) const;

  /// Cost of holding a grip for a note.
  [[nodiscard]] double hold_cost(const Grip& grip) const noexcept;

  /// Cost of going from one note's grip to the next one's. A shift is free or cheap on leaving an
  /// open string, which sounds while the hand travels.
  [[nodiscard]] double move_cost(const Grip& from, const LineNote& from_note, const Grip& to,
                                 const LineNote& to_note) const noexcept;

 private:
  [[nodiscard]] double place_mm(int fret) const noexcept {
    return place_mm_[static_cast<std::size_t>(fret)];
  }

  Neck neck_;
  FingeringOptions options_;
  std::vector<double> place_mm_;   // of each fret counted from the capo, from the nut
  std::vector<double> stay_cost_;  // of the index finger at each fret
};

}  // namespace lowstride::neck
