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

/// Median beats a minute; nothing without two beats.
[[nodiscard]] std::optional<double> median_tempo_bpm(const take::Take& take);

/// The long eighth's share of a beat, 0.5 .. 0.8: 2/3 for a swing of 2 : 1; 0.5 where the take does
/// not swing (under 1.3 : 1 eighths are heard as even).
[[nodiscard]] double swung_share(const take::Take& take);
[[nodiscard]] bool is_swung(const take::Take& take);

}  // namespace lowstride::sheet
