#pragma once

#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "src/neck/fingering.hpp"
#include "src/neck/hand.hpp"

// The search inside `finger_line`.
namespace lowstride::neck::detail {

inline constexpr double unreached = std::numeric_limits<double>::infinity();

/// A note that the neck has, with its place in the line and the grips that may play it.
struct Stage {
  std::size_t note_index = 0;
  LineNote note;
  std::vector<Grip> grips;
};

/// What lies beside a run of stages and is held fixed.
struct Neighbour {
  const Stage* stage = nullptr;
  Grip grip;
};

/// What a search found.
struct Solution {
  std::vector<Grip> path;
  std::vector<std::vector<double>> through;  // [stage][grip]: cost of the best path through it
  std::vector<std::vector<double>> ahead;    // [stage][grip]: its part up to and with the grip
  std::vector<std::vector<double>> behind;   // [stage][grip]: its part after the grip
};

/// The cheapest path over a run of stages, with what lies before and after it held fixed. Equal
/// costs: the grip that `Hand::grips` lists first. Time: the sum of the products of neighbouring
/// stages' grips.
[[nodiscard]] Solution cheapest_path(const Hand& hand, std::span<const Stage> stages,
                                     const Neighbour& before, const Neighbour& after);

}  // namespace lowstride::neck::detail
