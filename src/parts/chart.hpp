#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/take/take.hpp"

namespace lowstride::parts {

/// One beat of a tune.
struct ChartBeat {
  dsp::ChordReading chord = {};       // no root: no chord is known here
  bool begins_bar = false;            // the one of its bar
  std::optional<int> line_midi = {};  // what the finished line strikes on this beat, if anything
  int bar = 1;                        // as the take counts

  bool operator==(const ChartBeat&) const = default;
};

/// A run of beats under one chord, as long as it lasts.
struct ChordRun {
  std::size_t begin = 0;  // beats [begin, end)
  std::size_t end = 0;
  dsp::ChordReading chord = {};

  [[nodiscard]] std::size_t beat_count() const noexcept { return end - begin; }
  bool operator==(const ChordRun&) const = default;
};

/// Chords and line of a tune beat by beat: what levels and arrangements are written from.
struct Chart {
  std::vector<ChartBeat> beats;
  std::vector<std::int64_t> times_samples;  // of each beat, and of the end of the last: one more

  bool operator==(const Chart&) const = default;
};

/// A change belongs to the beat that it is nearest to, by up to a quarter of a beat before it; a
/// note is on a beat when it is struck within a third of a beat of it. Dead notes are none. Empty
/// when the take has fewer than two beats.
[[nodiscard]] Chart chart_of(const take::Take& take);

/// The runs of equal chords, in order; beats without a chord are runs as well.
[[nodiscard]] std::vector<ChordRun> chord_runs(const std::vector<ChartBeat>& beats);

}  // namespace lowstride::parts
