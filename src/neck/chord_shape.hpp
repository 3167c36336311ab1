#pragma once

#include <span>
#include <vector>

#include "src/neck/neck.hpp"

namespace lowstride::neck {

/// Strings that one hand holds down together.
struct ChordShape {
  std::vector<Position> positions;  // lowest string first
  int index_fret = 1;               // where the index finger is, or would be
  bool has_barre = false;           // the index finger stops several strings
  double effort = 0.0;              // in millimetres of comfortable movement; 0 for open strings

  bool operator==(const ChordShape&) const = default;
};

/// Every way in which four fingers can hold these places at once, easiest first; empty when there
/// is none. `places`: one a string, lowest string first; their fingers do not count. Rules, common
/// practice:
/// - an open string needs no finger; each finger stops one string, but the index finger may lie
///   across several at one fret, the lowest that is stopped, if no open string sounds between them;
/// - a higher fret has a higher finger; on one fret the lower string has the lower finger, three
///   fingers at most;
/// - the middle finger reaches 70 mm from the index finger, the ring finger 105 mm, the little
///   finger `max_span_mm`, and neighbouring fingers 70 mm from each other, on the real distances
///   of this neck (fret n at L (1 - 2^(-n/12))).
/// Requires places on the neck.
[[nodiscard]] std::vector<ChordShape> chord_shapes(const Neck& neck,
                                                   std::span<const Position> places,
                                                   double max_span_mm = 135.0);

}  // namespace lowstride::neck
