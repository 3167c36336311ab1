#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/harmony/chord_path.hpp"

namespace lowstride::dsp {

/// The dominant seventh chord that a pianist or guitarist leaves without its root so that it sounds
/// like `column`, or nothing when it is no such sound: third, thirteenth, seventh and ninth of G7
/// are those of D minor 6, third, fifth, seventh and ninth those of B half-diminished (common
/// practice: the left hand leaves the root to the bass).
[[nodiscard]] std::optional<std::size_t> dominant_without_root(std::size_t column) noexcept;

/// Where the chords of a path sound like a dominant without its root and the bass plays that root,
/// the dominant is put in place, in the columns and in their probabilities: the bass must say so by
/// a factor of e^2 over all the beats of the chord. A sound that goes on after such a place stays
/// with it. Confirmed beats are left alone. `beats` has an entry for each beat of the path.
void read_rootless_dominants(ChordPath& path, std::span<const ChordBeat> beats);

/// What a row of chord probabilities says for a column, with the sounds that it makes without its
/// root counted in.
[[nodiscard]] double probability_with_rootless(std::span<const double> row,
                                               std::size_t column) noexcept;

}  // namespace lowstride::dsp
