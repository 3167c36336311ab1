#pragma once

#include <optional>
#include <span>
#include <vector>

#include "src/sheet/layout.hpp"

namespace lowstride::sheet {

/// Steps between the slots of a division.
[[nodiscard]] constexpr int tatums_per_slot(Division division) noexcept {
  return tatums_per_beat / static_cast<int>(division);
}

struct QuantisedBeat {
  Division division = Division::whole;
  std::vector<int> onset_tatums;  // one to each onset, rising, 0..11; fewer when there are too many
};

/// Writes the onsets of one beat. `shares`: where each falls within the beat, rising, about
/// -0.125..1; `beat_seconds` its length; `long_share` the long eighth's share (0.5 when even).
/// The division is the likeliest under a normal scatter of players' onsets, with simple divisions
/// preferred: a maximum a posteriori choice after Cemgil, Desain & Kappen, "Rhythm quantization for
/// transcription", Computer Music Journal 24(2), 2000, with the slots of one beat as the code book.
/// At most twelve onsets are written.
[[nodiscard]] QuantisedBeat quantise_beat(std::span<const double> shares, double beat_seconds,
                                          double long_share);

/// The coarsest division whose slots hold every boundary exactly (within 0.012 of a beat, which is
/// less than what separates any two slots), for lines that were written and not played. Boundaries
/// are beginnings and ends, 0..1. Nothing where there is none.
[[nodiscard]] std::optional<Division> exact_division(std::span<const double> boundaries,
                                                     double long_share);
/// The slot of an exact share within a beat of a division, 0..12, or nothing.
[[nodiscard]] std::optional<int> exact_tatums(double share, Division division, double long_share);

/// Silence of this or more is written as a rest; less belongs to the sound before it.
inline constexpr int shortest_rest_tatums = tatums_per_beat / 2;

/// Where a sound is written to end: the first half or, in a beat of thirds or sixths, third of a
/// beat after its onset that it does not outlast by more than a sixth of a beat. `sounded_tatums`:
/// its end on the straightened grid, in the tatums that `onset_tatums` counts.
[[nodiscard]] int written_end(double sounded_tatums, int onset_tatums, Division division) noexcept;

/// A share of a swung beat as it is written: the long eighth fills the first half.
[[nodiscard]] double straightened(double share, double long_share) noexcept;

}  // namespace lowstride::sheet
