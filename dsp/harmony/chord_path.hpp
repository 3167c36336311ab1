#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/table.hpp"
#include "dsp/harmony/chord_decoder.hpp"

namespace lowstride::dsp {

/// What is known about each beat before chords are chosen.
struct ChordBeat {
  int beat_in_bar = 1;                      // 1 = downbeat
  std::optional<int> bass_pc;               // of the note that holds most of the beat's first half
  std::optional<std::size_t> fixed_column;  // a confirmed chord
};

struct ChordPathOptions {
  int beats_per_bar = 4;
  std::optional<DecodedKey> key;
  double change_price = 3.5;  // natural logarithm, on a downbeat
  double bass_weight = .8;    // of the bass degree
  double progression_weight = 0.8;
  double key_weight = 1.2;
  // Scores are multiplied by this before they count as probabilities: beats of one recording go
  // wrong together. It leaves the best path alone.
  double sureness = 0.35;
};

struct ChordPath {
  std::vector<std::size_t> columns;  // the best chord of each beat
  Table posterior;                   // [beat][chord_column_count], rows sum to 1
};

/// Best chords by Viterbi and their probabilities by the forward-backward algorithm (Rabiner, Proc.
/// IEEE 77(2), 1989) over the 169 columns of a chord table. `emission`: [beat][chord_column_count],
/// natural logarithms; as many rows as `beats`. Time grows with beats × 169²; memory: 0.9 kB a
/// beat.
[[nodiscard]] ChordPath find_chords(const Table& emission, std::span<const ChordBeat> beats,
                                    const ChordPathOptions& options);

}  // namespace lowstride::dsp
