#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "src/take/take.hpp"

namespace lowstride::sheet {

enum class NoteDifferenceKind : std::uint8_t {
  missed,           // the other take has a note here
  extra,            // the other take has none here
  octave,           // the same pitch class in another octave
  pitch,            // another pitch
  time,             // the same pitch, struck earlier or later
  dead,             // a dead note in one, a pitch in the other
  string_and_fret,  // the same note at another place on the neck
};

struct NoteDifference {
  NoteDifferenceKind kind = NoteDifferenceKind::missed;
  std::optional<std::size_t> mine;   // into the notes of the take; nothing when missed
  std::optional<std::size_t> other;  // into those of the other; nothing when extra

  bool operator==(const NoteDifference&) const = default;
};

/// A stretch under two different chords; nothing = no chord stands there.
struct ChordDifference {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
  std::optional<std::size_t> mine;
  std::optional<std::size_t> other;

  bool operator==(const ChordDifference&) const = default;
};

enum class BeatDifferenceKind : std::uint8_t {
  missed,
  extra,
  count,  // one beat with another number in its bar, or in another bar
};

/// Beats that differ in the same way and follow each other, as one entry.
struct BeatDifference {
  BeatDifferenceKind kind = BeatDifferenceKind::missed;
  std::optional<std::size_t> mine;  // the first of them
  std::optional<std::size_t> other;
  std::size_t beat_count = 1;

  bool operator==(const BeatDifference&) const = default;
};

/// Precision, recall and their harmonic mean, 0..1; all 1 when both sides are empty.
struct MatchScore {
  double precision = 0.0;
  double recall = 0.0;
  double f1 = 0.0;
  bool operator==(const MatchScore&) const = default;
};

struct ComparisonScores {
  MatchScore notes;            // onset within 50 ms, pitch right
  MatchScore notes_with_ends;  // and the end within 50 ms or a fifth of the note
  std::optional<double> beat_f;
  std::optional<double> downbeat_f;
  std::optional<double> chord_root;  // shares of time; nothing where none can be compared
  std::optional<double> chord_majmin;
  std::optional<double> chord_sevenths;

  bool operator==(const ComparisonScores&) const = default;
};

struct Comparison {
  std::size_t alike_count = 0;  // notes that agree in onset and pitch
  std::vector<NoteDifference> notes;
  std::vector<ChordDifference> chords;
  std::vector<BeatDifference> beats;
  ComparisonScores scores;

  [[nodiscard]] bool is_alike() const noexcept {
    return notes.empty() && chords.empty() && beats.empty();
  }
};

/// What differs between a take and another that counts as the reference; both on the clock of the
/// recording. Notes are paired by onset and pitch first (largest matching), then by onset within
/// 50 ms, then by pitch within half a beat (0.3 s at most). Dead notes pair by their onset; scores
/// count sounding notes alone. Beats pair within 70 ms. Scores are those of mir_eval 0.7
/// (`transcription.precision_recall_f1_overlap`, `beat.f_measure`, `chord.root`, `.majmin`,
/// `.sevenths` with `weighted_accuracy`) on the tables of the two takes. Source: Raffel et al.,
/// "mir_eval: a transparent implementation of common MIR metrics", ISMIR 2014.
/// A field that the other side does not have (no beats, no chords) gives neither differences nor
/// scores.
[[nodiscard]] Comparison compare(const take::Take& mine, const take::Take& other);

struct PlacedByBars {
  take::Take take;
  int bar_shift = 0;  // was added to the bar numbers of the other
};

/// `other` moved onto the clock of `mine` by bars and beats: what stands in bar 5 of the one stands
/// in bar 5 of the other, so that a sheet can be held against a recording. Lengths keep their
/// beats. Where the two count from another bar (a MIDI file knows no count-in, its first bar is 1)
/// the other is moved by up to four whole bars, if most notes then agree. Nothing where one of the
/// two has no grid, or bars that are not counted on evenly.
[[nodiscard]] std::optional<PlacedByBars> on_bars_of(const take::Take& other,
                                                     const take::Take& mine);

/// The comparison in lines: one a difference in order of time, by kinds, then counts and scores.
/// `names`: how the two are called. Ends with a newline.
struct ComparedNames {
  std::string mine;
  std::string other;
};
[[nodiscard]] std::string render_comparison(const Comparison& comparison, const take::Take& mine,
                                            const take::Take& other, const ComparedNames& names,
                                            bool has_differences = true);

}  // namespace lowstride::sheet
