#include "src/neck/motifs.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <utility>

#include "src/neck/named_necks.hpp"

namespace lowstride::neck::detail {
namespace {

constexpr std::size_t longest_motif = 16;
constexpr std::size_t shortest_motif = 4;
constexpr double rhythm_slack = 1.25;
constexpr double kept_price_per_note = 6.0;

bool has_same_rhythm(std::span<const Stage> stages, std::size_t a, std::size_t b,
                     std::size_t length) {
  for (std::size_t i = 1; i < length; ++i) {
    const double one = stages[a + i].note.onset_seconds - stages[a + i - 1].note.onset_seconds;
    const double other = stages[b + i].note.onset_seconds - stages[b + i - 1].note.onset_seconds;
    if (one > other * rhythm_slack || other > one * rhythm_slack) return false;
  }
  return true;
}

/// Steps of pitch from note to note; nothing for a run of one pitch or with a dead note in it.
std::optional<std::vector<int>> steps_of(std::span<const Stage> stages, std::size_t start,
                                         std::size_t length) {
  std::vector<int> steps;
  bool is_moving = false;
  for (std::size_t i = 0; i < length; ++i) {
    if (stages[start + i].note.is_dead) return std::nullopt;
    if (i == 0) continue;
    steps.push_back(stages[start + i].note.midi - stages[start + i - 1].note.midi);
    is_moving = is_moving || steps.back() != 0;
  }
  if (!is_moving) return std::nullopt;
  return steps;
}

using Shape = std::vector<Grip>;  // one grip a note of the motif

/// The shape with its first note `strings` lower (in number) on the neck, at the fret that gives
/// the pitches of the occurrence; nothing where there is none.
std::optional<Shape> moved(const Neck& neck, std::span<const Stage> stages, std::size_t start,
                           const Shape& shape, int strings) {
  const Grip& first = shape.front();
  const int string_number = first.string_number + strings;
  if (string_number < 1 || string_number > neck.string_count()) return std::nullopt;
  const int frets = stages[start].note.midi - sounding_midi(neck, string_number, 0) - first.fret;
  Shape found;
  for (std::size_t i = 0; i < shape.size(); ++i) {
    Grip grip = shape[i];
    grip.string_number += strings;
    if (grip.finger == 0 && frets != 0) return std::nullopt;
    grip.fret += frets;
    grip.index_fret += frets;
    if (std::ranges::count(stages[start + i].grips, grip) == 0) return std::nullopt;
    found.push_back(grip);
  }
  return found;
}

/// What the cheapest path through a shape at an occurrence costs more than the cheapest of all.
double extra_cost(const Hand& hand, std::span<const Stage> stages, const Solution& free,
                  std::size_t start, const Shape& shape) {
  double before = start == 0 ? 0.0 : unreached;
  if (start > 0) {
    const Stage& stage = stages[start - 1];
    for (std::size_t k = 0; k < stage.grips.size(); ++k) {
      before = std::min(
          before, free.ahead[start - 1][k] + hand.move_cost(stage.grips[k], stage.note,
                                                            shape.front(), stages[start].note));
    }
  }
  double inside = 0.0;
  for (std::size_t i = 0; i < shape.size(); ++i) {
    inside += hand.hold_cost(shape[i]);
    if (i > 0) {
      inside += hand.move_cost(shape[i - 1], stages[start + i - 1].note, shape[i],
                               stages[start + i].note);
    }
  }
  const std::size_t next = start + shape.size();
  double after = next == stages.size() ? 0.0 : unreached;
  if (next < stages.size()) {
    const Stage& stage = stages[next];
    for (std::size_t k = 0; k < stage.grips.size(); ++k) {
      after = std::min(
          after, hand.move_cost(shape.back(), stages[next - 1].note, stage.grips[k], stage.note) +
                     hand.hold_cost(stage.grips[k]) + free.behind[next][k]);
    }
  }
  return before + inside + after - *std::ranges::min_element(free.through.front());
}

struct Kept {
  std::size_t start = 0;
  Shape shape;
};

/// The occurrences that can have the shape, each where it costs least; with the gain in all.
std::pair<double, std::vector<Kept>> try_shape(const Neck& neck, const Hand& hand,
                                               std::span<const Stage> stages, const Solution& free,
                                               const Motif& motif, const Shape& shape) {
  const double most = kept_price_per_note * static_cast<double>(motif.length);
  double gain = 0.0;
  std::vector<Kept> kept;
  for (const std::size_t start : motif.starts) {
    double cheapest = most;
    std::optional<Shape> best;
    for (int strings = -neck.string_count(); strings <= neck.string_count(); ++strings) {
      auto candidate = moved(neck, stages, start, shape, strings);
      if (!candidate) continue;
      const double extra = extra_cost(hand, stages, free, start, *candidate);
      if (extra < cheapest) {
        cheapest = extra;
        best = std::move(candidate);
      }
    }
    if (!best) continue;
    gain += most - cheapest;
    kept.push_back({start, std::move(*best)});
  }
  return {gain, std::move(kept)};
}

}  // namespace

std::vector<Motif> repeated_motifs(std::span<const Stage> stages) {
  std::vector<Motif> motifs;
  std::vector<bool> is_used(stages.size(), false);
  const auto is_free = [&](std::size_t start, std::size_t length) {
    for (std::size_t i = start; i < start + length; ++i) {
      if (is_used[i]) return false;
    }
    return true;
  };
  for (std::size_t length = std::min(longest_motif, stages.size() / 2); length >= shortest_motif;
       --length) {
    std::map<std::vector<int>, std::vector<std::size_t>> places;
    for (std::size_t start = 0; start + length <= stages.size(); ++start) {
      if (!is_free(start, length)) continue;
      if (auto steps = steps_of(stages, start, length)) {
        places[std::move(*steps)].push_back(start);
      }
    }
    std::vector<std::vector<std::size_t>> in_order;
    for (auto& [steps, starts] : places) {
      if (starts.size() > 1) in_order.push_back(std::move(starts));
    }
    std::ranges::sort(in_order);
    for (const auto& starts : in_order) {
      Motif motif{length, {}};
      for (const std::size_t start : starts) {
        const bool is_clear = motif.starts.empty() || start >= motif.starts.back() + length;
        if (!is_clear || !is_free(start, length)) continue;
        if (motif.starts.empty() || has_same_rhythm(stages, motif.starts.front(), start, length)) {
          motif.starts.push_back(start);
        }
      }
      if (motif.starts.size() < 2) continue;
      for (const std::size_t start : motif.starts) {
        for (std::size_t i = start; i < start + length; ++i) is_used[i] = true;
      }
      motifs.push_back(std::move(motif));
    }
  }
  return motifs;
}

std::vector<Stage> with_kept_shapes(const Neck& neck, const Hand& hand,
                                    std::span<const Stage> stages, const Solution& free,
                                    int& kept_shape_count) {
  std::vector<Stage> alike(stages.begin(), stages.end());
  kept_shape_count = 0;
  for (const Motif& motif : repeated_motifs(stages)) {
    double best_gain = 0.0;
    std::vector<Kept> best;
    for (const std::size_t start : motif.starts) {
      const auto from = free.path.begin() + static_cast<std::ptrdiff_t>(start);
      const Shape shape(from, from + static_cast<std::ptrdiff_t>(motif.length));
      auto [gain, kept] = try_shape(neck, hand, stages, free, motif, shape);
      if (gain > best_gain + 1e-9) {
        best_gain = gain;
        best = std::move(kept);
      }
    }
    if (best.size() < 2) continue;
    kept_shape_count += static_cast<int>(best.size()) - 1;
    for (const Kept& kept : best) {
      for (std::size_t i = 0; i < motif.length; ++i) {
        alike[kept.start + i].grips = {kept.shape[i]};
      }
    }
  }
  return alike;
}

}  // namespace lowstride::neck::detail
