#include "src/sheet/comparison.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "src/sheet/comparison_chords.hpp"
#include "src/sheet/grid.hpp"
#include "src/sheet/matching.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

using detail::seconds;

constexpr double onset_tolerance_seconds = 0.05;
constexpr double beat_tolerance_seconds = 0.07;
constexpr double widest_time_seconds = 0.3;

struct Span {
  double onset = 0.0;
  double offset = 0.0;
  int midi = 0;
  bool is_dead = false;
};

std::vector<Span> spans_of(const take::Take& take) {
  std::vector<Span> spans;
  spans.reserve(take.notes.size());
  for (const take::Note& note : take.notes) {
    spans.push_back({seconds(take, note.onset_samples), seconds(take, note.offset_samples),
                     note.midi, note.is_dead});
  }
  return spans;
}

/// Distances are compared in tenths of a millisecond, so that 50 ms is 50 ms in any rounding.
bool is_within(double a, double b, double tolerance) {
  return std::round(std::abs(a - b) * 1e4) <= std::round(tolerance * 1e4);
}

using IsPair = std::function<bool(const Span& mine, const Span& other)>;

/// Largest matching of the notes that are still free, nearest onsets first.
std::vector<std::optional<std::size_t>> match(std::span<const Span> mine,
                                              std::span<const Span> other,
                                              const std::vector<bool>& is_mine_taken,
                                              const std::vector<bool>& is_other_taken,
                                              double window_seconds, const IsPair& is_pair) {
  std::vector<std::vector<std::size_t>> candidates(mine.size());
  for (std::size_t i = 0; i < mine.size(); ++i) {
    if (is_mine_taken[i]) continue;
    const auto first =
        std::ranges::lower_bound(other, mine[i].onset - window_seconds - 1e-3, {}, &Span::onset);
    for (auto span = first;
         span != other.end() && span->onset <= mine[i].onset + window_seconds + 1e-3; ++span) {
      const auto j = static_cast<std::size_t>(span - other.begin());
      if (is_other_taken[j] || !is_within(mine[i].onset, span->onset, window_seconds)) continue;
      if (is_pair(mine[i], *span)) candidates[i].push_back(j);
    }
    std::ranges::stable_sort(
        candidates[i], {}, [&](std::size_t j) { return std::abs(other[j].onset - mine[i].onset); });
  }
  return largest_matching(candidates, other.size());
}

MatchScore score(std::size_t matched, std::size_t mine_count, std::size_t other_count) {
  if (mine_count == 0 && other_count == 0) return {1.0, 1.0, 1.0};
  MatchScore made;
  const auto share = [matched](std::size_t count) {
    return count == 0 ? 0.0 : static_cast<double>(matched) / static_cast<double>(count);
  };
  made.precision = share(mine_count);
  made.recall = share(other_count);
  const double sum = made.precision + made.recall;
  made.f1 = sum > 0.0 ? 2.0 * made.precision * made.recall / sum : 0.0;
  return made;
}

std::size_t pair_count(const std::vector<std::optional<std::size_t>>& pairs) {
  return static_cast<std::size_t>(
      std::ranges::count_if(pairs, [](const auto& pair) { return pair.has_value(); }));
}

void score_notes(std::span<const Span> mine, std::span<const Span> other,
                 ComparisonScores& scores) {
  std::vector<bool> is_mine_out;
  std::vector<bool> is_other_out;
  is_mine_out.reserve(mine.size());
  is_other_out.reserve(other.size());
  for (const Span& span : mine) is_mine_out.push_back(span.is_dead);
  for (const Span& span : other) is_other_out.push_back(span.is_dead);
  const auto sounding = [](const std::vector<bool>& is_out) {
    return static_cast<std::size_t>(std::ranges::count(is_out, false));
  };
  const auto count = [&](const IsPair& is_pair) {
    return score(
        pair_count(match(mine, other, is_mine_out, is_other_out, onset_tolerance_seconds, is_pair)),
        sounding(is_mine_out), sounding(is_other_out));
  };
  scores.notes = count([](const Span& a, const Span& b) { return a.midi == b.midi; });
  scores.notes_with_ends = count([](const Span& a, const Span& b) {
    const double tolerance = std::max(onset_tolerance_seconds, 0.2 * (b.offset - b.onset));
    return a.midi == b.midi && std::round(std::abs(a.offset - b.offset) * 1e4) <= tolerance * 1e4;
  });
}

/// Pairs notes in the order of the kinds and writes down what differs.
class NotePairs {
 public:
  NotePairs(const take::Take& mine, const take::Take& other)
      : mine_take_(mine),
        other_take_(other),
        mine_(spans_of(mine)),
        other_(spans_of(other)),
        is_mine_taken_(mine_.size(), false),
        is_other_taken_(other_.size(), false) {}

  void write_down(Comparison& comparison) {
    const double half_beat = 30.0 / median_tempo_bpm(other_take_).value_or(120.0);
    pair(onset_tolerance_seconds, std::nullopt, comparison, [](const Span& a, const Span& b) {
      return a.is_dead == b.is_dead && (a.is_dead || a.midi == b.midi);
    });
    pair(onset_tolerance_seconds, NoteDifferenceKind::octave, comparison,
         [](const Span& a, const Span& b) {
           return !a.is_dead && !b.is_dead && (a.midi - b.midi) % 12 == 0;
         });
    pair(onset_tolerance_seconds, NoteDifferenceKind::dead, comparison,
         [](const Span& a, const Span& b) { return a.is_dead != b.is_dead; });
    pair(onset_tolerance_seconds, NoteDifferenceKind::pitch, comparison,
         [](const Span&, const Span&) { return true; });
    pair(std::min(widest_time_seconds, half_beat), NoteDifferenceKind::time, comparison,
         [](const Span& a, const Span& b) {
           return a.is_dead == b.is_dead && (a.is_dead || a.midi == b.midi);
         });
    for (std::size_t i = 0; i < mine_.size(); ++i) {
      if (!is_mine_taken_[i]) {
        comparison.notes.push_back({NoteDifferenceKind::extra, i, std::nullopt});
      }
    }
    for (std::size_t j = 0; j < other_.size(); ++j) {
      if (!is_other_taken_[j]) {
        comparison.notes.push_back({NoteDifferenceKind::missed, std::nullopt, j});
      }
    }
    std::ranges::stable_sort(comparison.notes, {}, [this](const NoteDifference& difference) {
      return difference.mine ? mine_[*difference.mine].onset : other_[*difference.other].onset;
    });
  }

 private:
  void pair(double window_seconds, std::optional<NoteDifferenceKind> kind, Comparison& comparison,
            const IsPair& is_pair) {
    const auto pairs =
        match(mine_, other_, is_mine_taken_, is_other_taken_, window_seconds, is_pair);
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      if (!pairs[i]) continue;
      is_mine_taken_[i] = true;
      is_other_taken_[*pairs[i]] = true;
      if (kind) {
        comparison.notes.push_back({*kind, i, *pairs[i]});
        continue;
      }
      ++comparison.alike_count;
      const auto& here = mine_take_.notes[i].position;
      const auto& there = other_take_.notes[*pairs[i]].position;
      if (here && there &&
          (here->string_number != there->string_number || here->fret != there->fret)) {
        comparison.notes.push_back({NoteDifferenceKind::string_and_fret, i, *pairs[i]});
      }
    }
  }

  const take::Take& mine_take_;
  const take::Take& other_take_;
  std::vector<Span> mine_;
  std::vector<Span> other_;
  std::vector<bool> is_mine_taken_;
  std::vector<bool> is_other_taken_;
};

std::vector<std::optional<std::size_t>> match_times(const std::vector<double>& mine,
                                                    const std::vector<double>& other) {
  std::vector<std::vector<std::size_t>> candidates(mine.size());
  for (std::size_t i = 0; i < mine.size(); ++i) {
    const auto first = std::ranges::lower_bound(other, mine[i] - beat_tolerance_seconds);
    for (auto time = first; time != other.end() && *time <= mine[i] + beat_tolerance_seconds;
         ++time) {
      candidates[i].push_back(static_cast<std::size_t>(time - other.begin()));
    }
    std::ranges::stable_sort(candidates[i], {},
                             [&](std::size_t j) { return std::abs(other[j] - mine[i]); });
  }
  return largest_matching(candidates, other.size());
}

std::vector<double> beat_times(const take::Take& take, bool are_downbeats) {
  std::vector<double> times;
  for (const take::Beat& beat : take.beats) {
    if (!are_downbeats || beat.beat == 1) times.push_back(seconds(take, beat.time_samples));
  }
  return times;
}

double beat_f(const take::Take& mine, const take::Take& other, bool are_downbeats) {
  const auto here = beat_times(mine, are_downbeats);
  const auto there = beat_times(other, are_downbeats);
  if (here.empty() || there.empty()) return 0.0;
  return score(pair_count(match_times(here, there)), here.size(), there.size()).f1;
}

void compare_beats(const take::Take& mine, const take::Take& other, Comparison& comparison) {
  if (mine.beats.empty() || other.beats.empty()) return;
  comparison.scores.beat_f = beat_f(mine, other, false);
  comparison.scores.downbeat_f = beat_f(mine, other, true);
  const auto here = beat_times(mine, false);
  const auto there = beat_times(other, false);
  const auto pairs = match_times(here, there);
  std::vector<bool> is_other_taken(there.size(), false);
  std::vector<BeatDifference> all;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (!pairs[i]) {
      all.push_back({BeatDifferenceKind::extra, i, std::nullopt, 1});
      continue;
    }
    is_other_taken[*pairs[i]] = true;
    const take::Beat& a = mine.beats[i];
    const take::Beat& b = other.beats[*pairs[i]];
    if (a.bar != b.bar || a.beat != b.beat) {
      all.push_back({BeatDifferenceKind::count, i, *pairs[i], 1});
    }
  }
  for (std::size_t j = 0; j < there.size(); ++j) {
    if (!is_other_taken[j]) all.push_back({BeatDifferenceKind::missed, std::nullopt, j, 1});
  }
  std::ranges::stable_sort(all, {}, [&](const BeatDifference& difference) {
    return difference.mine ? here[*difference.mine] : there[*difference.other];
  });
  const auto follows = [&](const BeatDifference& run, const BeatDifference& next) {
    if (run.kind != next.kind) return false;
    if (run.mine && *next.mine != *run.mine + run.beat_count) return false;
    if (run.other && *next.other != *run.other + run.beat_count) return false;
    if (run.kind != BeatDifferenceKind::count) return true;
    // One change of count as long as bars and beats stay apart by the same.
    const take::Beat& a = mine.beats[*next.mine];
    const take::Beat& b = other.beats[*next.other];
    const take::Beat& first_a = mine.beats[*run.mine];
    const take::Beat& first_b = other.beats[*run.other];
    const int beats_per_bar = std::max(1, other.beats_per_bar);
    const auto apart = [beats_per_bar](const take::Beat& x, const take::Beat& y) {
      return (x.bar - y.bar) * beats_per_bar + x.beat - y.beat;
    };
    return apart(a, b) == apart(first_a, first_b);
  };
  for (const BeatDifference& difference : all) {
    if (!comparison.beats.empty() && follows(comparison.beats.back(), difference)) {
      ++comparison.beats.back().beat_count;
    } else {
      comparison.beats.push_back(difference);
    }
  }
}

}  // namespace

Comparison compare(const take::Take& mine, const take::Take& other) {
  Comparison comparison;
  NotePairs(mine, other).write_down(comparison);
  score_notes(spans_of(mine), spans_of(other), comparison.scores);
  compare_beats(mine, other, comparison);
  detail::compare_chords(mine, other, comparison);
  return comparison;
}

}  // namespace lowstride::sheet
