#include "src/neck/fingering.hpp"

#include <algorithm>

#include "src/neck/hand.hpp"
#include "src/neck/motifs.hpp"
#include "src/neck/named_necks.hpp"
#include "src/neck/path_search.hpp"

namespace lowstride::neck {
namespace {

using detail::cheapest_path;
using detail::Neighbour;
using detail::Solution;
using detail::Stage;
using detail::unreached;

constexpr double phrase_rest_seconds = 0.6;
constexpr std::size_t longest_phrase = 32;
constexpr std::size_t shortest_phrase = 16;
/// One in this many notes may lie below the neck before the whole line is raised: a wrong note or
/// two must not move a line.
constexpr std::size_t raise_share = 20;

/// Pitches of the strings that are played.
struct Reach {
  int lowest_midi = 0;
  int highest_midi = 0;
};

Reach reach_of(const Neck& neck, const FingeringOptions& options) {
  Reach reach{lowest_midi(neck), highest_midi(neck)};
  std::vector<int> open;
  for (int string_number = 1; string_number <= neck.string_count(); ++string_number) {
    if (std::ranges::count(options.left_out_strings, string_number) == 0) {
      open.push_back(sounding_midi(neck, string_number, 0));
    }
  }
  if (!open.empty()) {
    reach = {std::ranges::min(open), std::ranges::max(open) + last_fret(neck)};
  }
  return reach;
}

int count_outside(const Reach& reach, std::span<const LineNote> line, int raised_semitones) {
  return static_cast<int>(std::ranges::count_if(line, [=](const LineNote& note) {
    const int midi = note.midi + raised_semitones;
    return !note.is_dead && (midi < reach.lowest_midi || midi > reach.highest_midi);
  }));
}

int octaves_to_raise(const Reach& reach, std::span<const LineNote> line) {
  const auto pitched = static_cast<std::size_t>(
      std::ranges::count_if(line, [](const LineNote& note) { return !note.is_dead; }));
  const auto below =
      static_cast<std::size_t>(std::ranges::count_if(line, [&reach](const LineNote& note) {
        return !note.is_dead && note.midi < reach.lowest_midi;
      }));
  if (below * raise_share <= pitched) return 0;
  int best = 0;
  int fewest = count_outside(reach, line, 0);
  for (int octaves = 1; octaves <= 10; ++octaves) {
    const int outside = count_outside(reach, line, 12 * octaves);
    if (outside < fewest) {
      fewest = outside;
      best = octaves;
    }
  }
  return best;
}

/// First stages of the phrases: after a rest, or at the widest gap once a phrase grows too long.
/// Depends on times alone, so that a pin moves no boundary.
std::vector<std::size_t> phrase_starts(const std::vector<Stage>& stages) {
  std::vector<std::size_t> starts;
  if (stages.empty()) return starts;
  starts.push_back(0);
  for (std::size_t i = 1; i < stages.size(); ++i) {
    const double rest = stages[i].note.onset_seconds - stages[i - 1].note.offset_seconds;
    if (rest >= phrase_rest_seconds) {
      starts.push_back(i);
    } else if (i - starts.back() >= longest_phrase) {
      std::size_t widest = i;
      double widest_rest = rest;
      for (std::size_t j = i; j > starts.back() + shortest_phrase; --j) {
        const double gap = stages[j].note.onset_seconds - stages[j - 1].note.offset_seconds;
        if (gap > widest_rest + 1e-9) {
          widest = j;
          widest_rest = gap;
        }
      }
      starts.push_back(widest);
    }
  }
  return starts;
}

Position position_of(const Grip& grip) noexcept {
  return {grip.string_number, grip.fret, grip.finger};
}

std::vector<RankedPosition> alternatives_of(const Stage& stage, const std::vector<double>& through,
                                            const Grip& chosen) {
  std::vector<RankedPosition> ranked;
  double cheapest = unreached;
  for (const double cost : through) cheapest = std::min(cheapest, cost);
  for (std::size_t k = 0; k < stage.grips.size(); ++k) {
    const Grip& grip = stage.grips[k];
    if (grip.string_number == chosen.string_number && grip.fret == chosen.fret) continue;
    const double extra = std::max(0.0, through[k] - cheapest);
    const auto same = std::ranges::find_if(ranked, [&grip](const RankedPosition& other) {
      return other.position.string_number == grip.string_number && other.position.fret == grip.fret;
    });
    if (same == ranked.end()) {
      ranked.push_back({position_of(grip), extra});
    } else if (extra < same->extra_cost) {
      *same = {position_of(grip), extra};
    }
  }
  std::ranges::stable_sort(ranked, {}, &RankedPosition::extra_cost);
  return ranked;
}

bool fits_pin(const Grip& grip, const Position& pin) noexcept {
  return grip.string_number == pin.string_number && grip.fret == pin.fret &&
         (pin.finger == 0 || grip.finger == pin.finger);
}

/// The grips of a stage that honour its pin: with the pinned finger, or with any finger where that
/// one cannot reach; empty when the place itself does not give the note.
std::vector<Grip> pinned_grips(const Stage& stage, Position pin) {
  std::vector<Grip> kept;
  for (const bool any_finger : {false, true}) {
    if (any_finger) pin.finger = 0;
    for (const Grip& grip : stage.grips) {
      if (fits_pin(grip, pin)) kept.push_back(grip);
    }
    if (!kept.empty()) break;
  }
  return kept;
}

}  // namespace

Result<Fingering> finger_line(const Neck& neck, std::span<const LineNote> line,
                              const FingeringOptions& options, std::optional<int> octave_shift) {
  if (const auto outcome = check(neck); !outcome) return tl::unexpected(outcome.error());
  const Hand hand(neck, options);
  Fingering fingering;
  fingering.notes.resize(line.size());
  fingering.octave_shift =
      octave_shift ? *octave_shift : octaves_to_raise(reach_of(neck, options), line);

  std::vector<Stage> stages;
  for (std::size_t i = 0; i < line.size(); ++i) {
    Stage stage{i, line[i], {}};
    stage.note.midi += 12 * fingering.octave_shift;
    stage.grips = hand.grips(stage.note);
    if (stage.grips.empty()) {
      ++fingering.out_of_range_count;
      if (line[i].pinned) fingering.unusable_pins.push_back(i);
    } else {
      stages.push_back(std::move(stage));
    }
  }

  Solution whole = cheapest_path(hand, stages, {}, {});
  const std::vector<Stage> alike =
      with_kept_shapes(neck, hand, stages, whole, fingering.kept_shape_count);
  if (fingering.kept_shape_count > 0) whole.path = cheapest_path(hand, alike, {}, {}).path;
  std::vector<Grip> path = whole.path;

  const std::vector<std::size_t> starts = phrase_starts(stages);
  for (std::size_t phrase = 0; phrase < starts.size(); ++phrase) {
    const std::size_t begin = starts[phrase];
    const std::size_t end = phrase + 1 < starts.size() ? starts[phrase + 1] : stages.size();
    std::vector<Stage> pinned(stages.begin() + static_cast<std::ptrdiff_t>(begin),
                              stages.begin() + static_cast<std::ptrdiff_t>(end));
    bool has_pin = false;
    for (Stage& stage : pinned) {
      if (!stage.note.pinned) continue;
      auto kept = pinned_grips(stage, *stage.note.pinned);
      if (kept.empty()) {
        fingering.unusable_pins.push_back(stage.note_index);
      } else {
        stage.grips = std::move(kept);
        has_pin = true;
      }
    }
    if (!has_pin) continue;
    // The neighbours are those of the line without pins, so that phrases do not pull at each other.
    Neighbour before;
    Neighbour after;
    if (begin > 0) before = {&stages[begin - 1], whole.path[begin - 1]};
    if (end < stages.size()) after = {&stages[end], whole.path[end]};
    const Solution solved = cheapest_path(hand, pinned, before, after);
    for (std::size_t i = begin; i < end; ++i) path[i] = solved.path[i - begin];
    for (std::size_t i = begin; i < end; ++i) {
      if (pinned[i - begin].grips.size() == stages[i].grips.size()) {
        whole.through[i] = solved.through[i - begin];
      }
    }
  }
  std::ranges::sort(fingering.unusable_pins);

  for (std::size_t i = 0; i < stages.size(); ++i) {
    FingeredNote& note = fingering.notes[stages[i].note_index];
    note.position = position_of(path[i]);
    note.alternatives = alternatives_of(stages[i], whole.through[i], path[i]);
    fingering.cost += hand.hold_cost(path[i]);
    if (i > 0) {
      fingering.cost += hand.move_cost(path[i - 1], stages[i - 1].note, path[i], stages[i].note);
    }
  }
  return fingering;
}

}  // namespace lowstride::neck
