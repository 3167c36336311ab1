#pragma once

#include <algorithm>
#include <optional>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "dsp/harmony/chord_decoder.hpp"
#include "tests/base/packed.hpp"

namespace lowstride::dsp {

/// A made-up chart: chords on a steady grid of 4/4 at 120, two beats a second, from 0.
struct ChartChord {
  std::optional<int> root_pc;
  ChordQuality quality = ChordQuality::major;
  int beats = 4;
};

inline DecodedGrid grid_of(std::size_t beat_count, int beats_per_bar = 4) {
  DecodedGrid grid;
  grid.beats_per_bar = beats_per_bar;
  grid.tempo_bpm = 120.0;
  for (std::size_t i = 0; i < beat_count; ++i) {
    const auto index = static_cast<int>(i);
    grid.beats.push_back(
        {0.5 * static_cast<double>(i), index / beats_per_bar + 1, index % beats_per_bar + 1, 1.0});
  }
  return grid;
}

/// Evidence of chords as it is written by hand, before it is packed.
struct ChordSheet {
  std::size_t frame_count = 0;
  Table chord, bass;

  [[nodiscard]] Evidence evidence() const {
    Evidence evidence;
    evidence.pitch = packed(Table(frame_count, evidence_pitch_count + 1));
    evidence.onset = packed(Table(frame_count, evidence_pitch_count));
    evidence.chord = packed(chord);
    evidence.chord_bass = packed(bass);
    return evidence;
  }
};

/// Gives the right column `share` and spreads the rest evenly; the root is in the bass.
inline ChordSheet sheet_of(const std::vector<ChartChord>& chart, float share = 0.6F) {
  std::vector<std::size_t> columns;
  for (const auto& chord : chart) {
    for (int i = 0; i < chord.beats; ++i) {
      columns.push_back(chord.root_pc ? chord_column(*chord.root_pc, chord.quality)
                                      : no_chord_column);
    }
  }
  ChordSheet sheet;
  sheet.frame_count =
      static_cast<std::size_t>(seconds_frame(0.5 * static_cast<double>(columns.size())));
  const std::size_t rows = (sheet.frame_count + chord_hop_frames - 1) / chord_hop_frames;
  sheet.chord =
      Table(rows, chord_column_count, (1.0F - share) / static_cast<float>(chord_column_count - 1));
  sheet.bass = Table(rows, pitch_class_count, 0.1F / 11.0F);
  for (std::size_t j = 0; j < rows; ++j) {
    const double seconds = frame_seconds(static_cast<double>(j * chord_hop_frames));
    const auto beat = std::min(columns.size() - 1, static_cast<std::size_t>(seconds * 2.0));
    sheet.chord.row(j)[columns[beat]] = share;
    if (columns[beat] != no_chord_column) {
      sheet.bass.row(j)[columns[beat] / chord_quality_count] = 0.9F;
    }
  }
  return sheet;
}

inline Evidence evidence_of(const std::vector<ChartChord>& chart, float share = 0.6F) {
  return sheet_of(chart, share).evidence();
}

}  // namespace lowstride::dsp
