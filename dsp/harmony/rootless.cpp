#include "dsp/harmony/rootless.hpp"

#include "dsp/base/contracts.hpp"
#include "dsp/harmony/chord_priors.hpp"

namespace lowstride::dsp {
namespace {

// Natural logarithm. A chord change to the dominant's root in the bass alone says 4.3; a bass on
// the fifth of the dominant (the root of the chord that it sounds like) says -1.9.
constexpr double needed_log_ratio = 2.0;

/// What the bass of beats [first, last) says for chord `a` against chord `b`.
double bass_log_ratio(std::span<const ChordBeat> beats, std::size_t first, std::size_t last,
                      std::size_t a, std::size_t b) {
  double sum = 0.0;
  for (std::size_t i = first; i < last; ++i) {
    if (!beats[i].bass_pc) continue;
    const auto say = [&](std::size_t column) {
      const int degree = (*beats[i].bass_pc - column_root(column) + 12) % 12;
      return bass_degree_log_ratio(column_quality(column), degree, i == first);
    };
    sum += say(a) - say(b);
  }
  return sum;
}

bool is_confirmed(std::span<const ChordBeat> beats, std::size_t first, std::size_t last) {
  for (std::size_t i = first; i < last; ++i) {
    if (beats[i].fixed_column) return true;
  }
  return false;
}

void put_in_place(ChordPath& path, std::size_t first, std::size_t last, std::size_t heard,
                  std::size_t dominant) {
  for (std::size_t i = first; i < last; ++i) {
    path.columns[i] = dominant;
    const auto row = path.posterior.row(i);
    row[dominant] += row[heard];
    row[heard] = 0.0F;
  }
}

}  // namespace

std::optional<std::size_t> dominant_without_root(std::size_t column) noexcept {
  if (column >= no_chord_column) return std::nullopt;
  const int root = column_root(column);
  switch (column_quality(column)) {
    case ChordQuality::minor_sixth:
      return chord_column((root + 5) % 12, ChordQuality::dominant_seventh);
    case ChordQuality::half_diminished_seventh:
      return chord_column((root + 8) % 12, ChordQuality::dominant_seventh);
    default:
      return std::nullopt;
  }
}

void read_rootless_dominants(ChordPath& path, std::span<const ChordBeat> beats) {
  const auto& columns = path.columns;
  LOWSTRIDE_EXPECTS(columns.size() == beats.size());
  std::size_t before = no_chord_column;  // the dominant put in place just before, if one was
  for (std::size_t first = 0; first < columns.size();) {
    const std::size_t heard = columns[first];
    std::size_t last = first + 1;
    while (last < columns.size() && columns[last] == heard) ++last;
    const auto dominant = dominant_without_root(heard);
    const bool is_open = dominant && !is_confirmed(beats, first, last);
    // Stabs come in after the beat: a bass that begins the bar on the root begins the chord.
    const bool is_late = is_open && first > 0 && beats[first].beat_in_bar == 2 &&
                         beats[first - 1].beat_in_bar == 1 && !beats[first - 1].fixed_column;
    const std::size_t begin = is_late ? first - 1 : first;
    const bool goes_on = is_open && before == *dominant && beats[first].beat_in_bar != 1;
    if (goes_on) {
      put_in_place(path, first, last, heard, *dominant);
    } else if (is_open && bass_log_ratio(beats, begin, last, *dominant, heard) > needed_log_ratio) {
      put_in_place(path, begin, last, heard, *dominant);
      before = *dominant;
    } else {
      before = no_chord_column;
    }
    first = last;
  }
}

double probability_with_rootless(std::span<const double> row, std::size_t column) noexcept {
  double sum = row[column];
  for (std::size_t c = 0; c < no_chord_column; ++c) {
    if (dominant_without_root(c) == column) sum += row[c];
  }
  return sum;
}

}  // namespace lowstride::dsp
