#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "src/neck/path_search.hpp"

namespace lowstride::neck::detail {

/// Notes that come again with the same steps from note to note and the same rhythm, on whatever
/// pitch. Occurrences do not overlap.
struct Motif {
  std::size_t length = 0;           // notes, 4..16
  std::vector<std::size_t> starts;  // first stage of each occurrence, two at least, rising
};

/// The motifs of a line, long ones first; no note is in two of them. Runs of one pitch and dead
/// notes make none. Two rhythms are the same when each time from note to note is within a quarter.
[[nodiscard]] std::vector<Motif> repeated_motifs(std::span<const Stage> stages);

/// `stages` with the notes of motifs held to one shape: strings, frets and fingers as in the
/// occurrence whose shape suits all of them best, moved along and across the neck. A motif keeps
/// its shape at an occurrence where that costs up to 6 mm of comfortable movement a note (about
/// one shift by a fret in four notes) more than the freest path of `free`; elsewhere, and where the
/// shape does not give the pitches (uneven tuning, an open string on a fret), it is left free.
/// `kept_shape_count`: occurrences that follow another one's shape. Common practice: a pattern
/// learnt once is moved, not learnt twice.
[[nodiscard]] std::vector<Stage> with_kept_shapes(const Neck& neck, const Hand& hand,
                                                  std::span<const Stage> stages,
                                                  const Solution& free, int& kept_shape_count);

}  // namespace lowstride::neck::detail
