#include "src/parts/guitar_path.hpp"

#include <algorithm>
#include <limits>
#include <map>
#include <tuple>
#include <utility>

#include "src/neck/chord_shape.hpp"
#include "src/neck/hand.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::parts::detail {
namespace {

constexpr double unreached = std::numeric_limits<double>::infinity();
constexpr double left_out_price = 400.0;   // a stab that is asked for and not played
constexpr double let_go_price = 10.0;      // the bass does not ring under its stab
constexpr double released_price = 6.0;     // a held chord given up before a note
constexpr double high_bass_price = 16.0;   // the bass on a string that stabs want
constexpr double held_effort_share = 0.5;  // of a shape that is there already
constexpr std::size_t most_voicings = 24;  // for one chord over one bass note
constexpr std::size_t most_states = 160;   // of one event

/// One way to play an event.
struct GuitarState {
  neck::Grip grip;  // of the bass
  std::vector<neck::Position> positions = {};
  bool is_bass_let_go = false;
  bool is_held_on = false;
  double cost = 0.0;
};

neck::Grip grip_of(const neck::Position& bass, int index_fret) {
  return {bass.string_number, bass.fret, bass.finger, index_fret};
}

class GuitarPath {
 public:
  GuitarPath(const neck::Neck& neck, const neck::FingeringOptions& options, const StabWish& wish)
      : neck_(neck), hand_(neck, options), wish_(wish) {}

  [[nodiscard]] std::vector<GuitarGrip> find(const std::vector<GuitarEvent>& events) {
    std::vector<std::size_t> played;  // events whose note the neck has
    std::vector<std::vector<GuitarState>> states;
    for (std::size_t i = 0; i < events.size(); ++i) {
      const std::vector<GuitarState>* before = states.empty() ? nullptr : &states.back();
      auto found = states_of(events[i], before);
      if (found.empty()) continue;
      played.push_back(i);
      states.push_back(std::move(found));
    }
    std::vector<GuitarGrip> grips(events.size());
    const std::vector<std::size_t> path = cheapest(events, played, states);
    for (std::size_t i = 0; i < played.size(); ++i) {
      const GuitarState& state = states[i][path[i]];
      GuitarGrip& grip = grips[played[i]];
      grip.bass = neck::Position{state.grip.string_number, state.grip.fret, state.grip.finger};
      grip.positions = state.positions;
      grip.is_bass_let_go = state.is_bass_let_go;
      grip.is_held_on = state.is_held_on;
    }
    return grips;
  }

 private:
  using VoicingKey = std::tuple<std::optional<int>, int, int, int, int>;

  /// Bass grips: on the lower half of the strings and the next one, if the note is there.
  [[nodiscard]] std::vector<neck::Grip> bass_grips(const neck::LineNote& note) const {
    std::vector<neck::Grip> all = hand_.grips(note);
    const int highest_string = neck_.string_count() / 2;
    std::vector<neck::Grip> low;
    std::ranges::copy_if(all, std::back_inserter(low), [=](const neck::Grip& grip) {
      return grip.string_number >= highest_string;
    });
    return low.empty() ? all : low;
  }
  [[nodiscard]] double bass_cost(const neck::Grip& grip) const {
    const bool is_high = grip.string_number <= neck_.string_count() / 2;
    return hand_.hold_cost(grip) + (is_high ? high_bass_price : 0.0);
  }

  const std::vector<Voicing>& voicings(const dsp::ChordReading& chord,
                                       const std::optional<neck::Position>& bass) {
    const VoicingKey key{chord.root_pc, static_cast<int>(chord.quality), chord.bass_pc,
                         bass ? bass->string_number : 0, bass ? bass->fret : 0};
    const auto found = kept_.find(key);
    if (found != kept_.end()) return found->second;
    return kept_.emplace(key, stab_voicings(neck_, chord, bass, wish_, most_voicings))
        .first->second;
  }

  [[nodiscard]] std::vector<GuitarState> states_of(const GuitarEvent& event,
                                                   const std::vector<GuitarState>* before) {
    const std::vector<neck::Grip> grips = bass_grips(event.note);
    std::vector<GuitarState> with_chord;
    std::vector<GuitarState> bare;
    std::vector<neck::Position> places;
    for (const neck::Grip& grip : grips) {
      double cost = bass_cost(grip);
      if (event.chord) cost += left_out_price;
      if (event.continues_hold) cost += released_price;
      bare.push_back({.grip = grip, .cost = cost});
      const neck::Position place{grip.string_number, grip.fret, 0};
      if (std::ranges::count(places, place) == 0) places.push_back(place);
    }
    if (event.chord) {
      for (const neck::Position& place : places) add_together(*event.chord, place, with_chord);
      if (event.is_struck_later) add_let_go(*event.chord, grips, with_chord);
    } else if (event.continues_hold && before != nullptr) {
      for (const neck::Position& place : places) add_held_on(place, *before, with_chord);
    }
    std::ranges::stable_sort(with_chord, {}, &GuitarState::cost);
    if (with_chord.size() > most_states) with_chord.resize(most_states);
    with_chord.insert(with_chord.end(), bare.begin(), bare.end());
    return with_chord;
  }

  void add_together(const dsp::ChordReading& chord, const neck::Position& place,
                    std::vector<GuitarState>& states) {
    for (const Voicing& voicing : voicings(chord, place)) {
      GuitarState state{.grip = grip_of(*voicing.bass, voicing.index_fret),
                        .positions = voicing.positions};
      state.cost = bass_cost(state.grip) + voicing.cost;
      states.push_back(std::move(state));
    }
  }

  void add_let_go(const dsp::ChordReading& chord, const std::vector<neck::Grip>& grips,
                  std::vector<GuitarState>& states) {
    for (const Voicing& voicing : voicings(chord, std::nullopt)) {
      for (const neck::Grip& grip : grips) {
        if (grip.index_fret != voicing.index_fret) continue;
        GuitarState state{.grip = grip, .positions = voicing.positions, .is_bass_let_go = true};
        state.cost = bass_cost(grip) + voicing.cost + let_go_price;
        states.push_back(std::move(state));
      }
    }
  }

  /// The chords of the states before, with this bass note under the same fingers.
  void add_held_on(const neck::Position& place, const std::vector<GuitarState>& before,
                   std::vector<GuitarState>& states) const {
    std::vector<const std::vector<neck::Position>*> seen;
    for (const GuitarState& held : before) {
      if (held.positions.empty() || held.is_bass_let_go ||
          place.string_number <= held.positions.front().string_number ||
          std::ranges::any_of(seen, [&](const auto* other) { return *other == held.positions; })) {
        continue;
      }
      seen.push_back(&held.positions);
      std::vector<neck::Position> together{place};
      together.insert(together.end(), held.positions.begin(), held.positions.end());
      for (const neck::ChordShape& shape : neck::chord_shapes(neck_, together, wish_.max_span_mm)) {
        if (!std::equal(held.positions.begin(), held.positions.end(),
                        shape.positions.begin() + 1)) {
          continue;
        }
        GuitarState state{.grip = grip_of(shape.positions.front(), shape.index_fret),
                          .positions = held.positions,
                          .is_held_on = true};
        state.cost = bass_cost(state.grip) + held_effort_share * shape.effort;
        states.push_back(std::move(state));
        break;
      }
    }
  }

  [[nodiscard]] std::vector<std::size_t> cheapest(
      const std::vector<GuitarEvent>& events, const std::vector<std::size_t>& played,
      const std::vector<std::vector<GuitarState>>& states) const {
    std::vector<std::vector<double>> cost(states.size());
    std::vector<std::vector<std::size_t>> from(states.size());
    for (std::size_t i = 0; i < states.size(); ++i) {
      for (const GuitarState& to : states[i]) {
        double best = i == 0 && !to.is_held_on ? 0.0 : unreached;
        std::size_t best_from = 0;
        for (std::size_t k = 0; i > 0 && k < states[i - 1].size(); ++k) {
          const GuitarState& state = states[i - 1][k];
          if (to.is_held_on && (state.is_bass_let_go || state.positions != to.positions)) continue;
          const double there =
              cost[i - 1][k] + hand_.move_cost(state.grip, events[played[i - 1]].note, to.grip,
                                               events[played[i]].note);
          if (there < best) {
            best = there;
            best_from = k;
          }
        }
        cost[i].push_back(best + to.cost);
        from[i].push_back(best_from);
      }
    }
    std::vector<std::size_t> path(states.size());
    if (states.empty()) return path;
    std::size_t at =
        static_cast<std::size_t>(std::ranges::min_element(cost.back()) - cost.back().begin());
    for (std::size_t i = states.size(); i-- > 0;) {
      path[i] = at;
      at = from[i][at];
    }
    return path;
  }

  neck::Neck neck_;
  neck::Hand hand_;
  StabWish wish_;
  std::map<VoicingKey, std::vector<Voicing>> kept_;
};

}  // namespace

std::vector<GuitarGrip> guitar_path(const neck::Neck& neck, const neck::FingeringOptions& options,
                                    const std::vector<GuitarEvent>& events, const StabWish& wish) {
  return GuitarPath(neck, options, wish).find(events);
}

}  // namespace lowstride::parts::detail
