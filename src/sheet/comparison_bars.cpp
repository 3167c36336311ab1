#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "src/sheet/comparison.hpp"

namespace lowstride::sheet {
namespace {

/// `other` on the clock of `mine`, its bars counted on by `bar_shift`.
std::optional<take::Take> placed_by_bars(const take::Take& other, const take::Take& mine,
                                         int bar_shift) {
  // Beats since the first of bar 1, and when they fall.
  struct Counted {
    double number = 0.0;
    double samples = 0.0;
  };
  const auto counted = [&mine](const take::Take& take) {
    std::vector<Counted> beats;
    beats.reserve(take.beats.size());
    for (const take::Beat& beat : take.beats) {
      beats.push_back({static_cast<double>((beat.bar - 1) * mine.beats_per_bar + beat.beat - 1),
                       static_cast<double>(beat.time_samples)});
    }
    return beats;
  };
  auto from = counted(other);
  for (Counted& beat : from) beat.number += bar_shift * mine.beats_per_bar;
  const auto to = counted(mine);
  const auto counts_on = [](const std::vector<Counted>& beats) {
    return beats.size() > 1 &&
           std::ranges::adjacent_find(beats, [](const Counted& a, const Counted& b) {
             return b.number <= a.number;
           }) == beats.end();
  };
  if (!counts_on(from) || !counts_on(to)) return std::nullopt;
  const auto between = [](const std::vector<Counted>& beats, double Counted::*known,
                          double Counted::*wanted, double value) {
    auto next = std::ranges::upper_bound(beats, value, {}, known);
    next = std::clamp(next, beats.begin() + 1, beats.end() - 1);
    const Counted& a = *std::prev(next);
    const Counted& b = *next;
    return a.*wanted + (value - a.*known) / (b.*known - a.*known) * (b.*wanted - a.*wanted);
  };
  const auto moved = [&](std::int64_t samples) -> std::int64_t {
    const double number =
        between(from, &Counted::samples, &Counted::number, static_cast<double>(samples));
    return std::llround(between(to, &Counted::number, &Counted::samples, number));
  };
  take::Take placed = other;
  placed.time_base_hz = mine.time_base_hz;
  for (take::Note& note : placed.notes) {
    note.onset_samples = moved(note.onset_samples);
    note.offset_samples = std::max(note.onset_samples + 1, moved(note.offset_samples));
  }
  for (take::Beat& beat : placed.beats) {
    beat.time_samples = moved(beat.time_samples);
    beat.bar += bar_shift;
  }
  for (take::ChordSpan& chord : placed.chords) {
    chord.begin_samples = moved(chord.begin_samples);
    chord.end_samples = moved(chord.end_samples);
  }
  placed.length_samples = moved(other.length_samples);
  return placed;
}

}  // namespace

std::optional<PlacedByBars> on_bars_of(const take::Take& other, const take::Take& mine) {
  constexpr int farthest_bars = 4;
  auto placed = placed_by_bars(other, mine, 0);
  if (!placed) return std::nullopt;
  PlacedByBars best{std::move(*placed), 0};
  std::size_t most_alike = compare(mine, best.take).alike_count;
  // Bar numbers are believed unless another count makes most of the line agree.
  if (2 * most_alike >= mine.notes.size()) return best;
  for (int distance = 1; distance <= farthest_bars; ++distance) {
    for (const int shift : {-distance, distance}) {
      auto moved = placed_by_bars(other, mine, shift);
      const std::size_t alike = moved ? compare(mine, *moved).alike_count : 0;
      if (2 * alike < mine.notes.size() || alike <= most_alike) continue;
      most_alike = alike;
      best = {std::move(*moved), shift};
    }
  }
  return best;
}

}  // namespace lowstride::sheet
