#pragma once

#include <filesystem>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "dsp/rhythm/beat_decoder.hpp"
#include "src/base/result.hpp"

namespace lowstride::analysis {

/// Chords that a player knows, from a text file in one of two forms:
/// - a chart: bars between `|`, labels of a bar side by side and sharing its beats evenly; `%` (or
/// an
///   empty bar) repeats the bar before; once round the form. Lines without `|` and what follows `#`
///   at the start of a line are remarks.
/// - lines of start, end (seconds of the recording) and label.
class ChordChart {
 public:
  /// Errors: those of reading a small file; invalid_argument naming the file, the line and the
  /// label that makes no sense; invalid_argument when there is no chord in it.
  [[nodiscard]] static Result<ChordChart> read(const std::filesystem::path& path);

  /// The chords in time. A chart begins at bar 1 and goes round for as long as there are bars; bars
  /// before 1 stay open. Without bars a chart gives nothing.
  [[nodiscard]] std::vector<dsp::FixedChord> in_time(const dsp::DecodedGrid& grid) const;

  [[nodiscard]] bool is_timed() const noexcept { return !timed_.empty(); }

 private:
  std::vector<std::vector<dsp::ChordReading>> bars_;  // of a chart
  std::vector<dsp::FixedChord> timed_;                // of lines with times
};

}  // namespace lowstride::analysis
