#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "src/take/take.hpp"

namespace lowstride::sheet {

/// A beat of the written grid. Times may lie outside the recording where the grid was continued.
struct GridBeat {
  std::int64_t time_samples = 0;
  int bar = 1;
  int beat = 1;

  bool operator==(const GridBeat&) const = default;
};

/// The take's beats, continued at both ends in the tempo found there until they hold every note or
/// `most_bars` were added, its last bar completed, and one beat more, the next bar's first, to end
/// it. Empty without at least two beats.
[[nodiscard]] std::vector<GridBeat> written_grid(const take::Take& take, int most_bars = 8);

/// Where a time falls: 2.5 is half way from beats[2] to beats[3]. Continued in tempo past both
/// ends. Requires two beats.
[[nodiscard]] double beat_position(std::span<const GridBeat> beats, std::int64_t time_samples);
/// The time of a position, the inverse of beat_position.
[[nodiscard]] double position_samples(std::span<const GridBeat> beats, double position);

/// How unequal the two halves of a beat are, long to short, as the sheet writes them: the take's
/// swing ratio, or where it has none the median of the line's own off-beats when there are three or
/// more. Nothing where eighths are even: under 1.3 : 1 they are heard so.
[[nodiscard]] std::optional<double> written_swing_ratio(const take::Take& take);

/// The long eighth's share of a beat, 0.5 .. 0.8: 2/3 for a swing of 2 : 1; 0.5 when even.
[[nodiscard]] double long_share_of(const std::optional<double>& swing_ratio) noexcept;

}  // namespace lowstride::sheet
