#pragma once

#include <cmath>
#include <vector>

#include "src/notation/musicxml_part.hpp"

// From the notes of a played-out part to a line and the stabs over it, for read_musicxml.cpp.
namespace lowstride::notation {

inline constexpr double same_place = 1e-6;  // quarters

[[nodiscard]] inline bool is_same_place(double a, double b) noexcept {
  return std::abs(a - b) < same_place;
}

/// A note of the played-out part, in quarters from its beginning.
struct PlayedNote {
  double onset = 0.0;
  double end = 0.0;
  XmlNote note;
};

/// What is struck together beside the line, with its places.
struct PlayedStab {
  double onset = 0.0;
  double end = 0.0;
  std::vector<XmlNote> strings;  // lowest string first, one a string
};

/// In order of time; ties make one note of two that meet.
[[nodiscard]] std::vector<PlayedNote> joined(std::vector<PlayedNote> notes);

/// Takes the upper voices of a tab out of joined notes, and of the staff over it: the voice with
/// the lowest middle pitch stays. Nothing where the tab has one voice.
[[nodiscard]] std::vector<PlayedStab> take_out_stabs(std::vector<PlayedNote>& notes);

/// The notes of the staff with the places of the tab; those of the tab where there is no staff.
[[nodiscard]] std::vector<PlayedNote> one_voice(const std::vector<PlayedNote>& notes);

}  // namespace lowstride::notation
