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
constexpr double left_out_price = 400.0;    // a stab that is asked for and not played
constexpr double let_go_price = 10.0;       // the bass does not ring under its stab
constexpr double released_price = 6.0;      // a held chord given up before a note
constexpr double high_bass_price = 16.0;    // the bass on a string that stabs want
constexpr double held_effort_share = 0.5;   // of a shape that is there already
constexpr double off_pattern_price = 60.0;  // the bass elsewhere than the style has it
constexpr std::size_t most_voicings = 24;   // for one chord over one bass note
constexpr std::size_t most_states = 160;    // of one event
// Voice leading: the outer tones of a stab go the shortest way from those of the stab before.
constexpr double upper_voice_price = 1.2;   // per semitone
constexpr double lower_voice_price = 0.6;   // per semitone
constexpr std::size_t most_remembered = 8;  // stabs that bass notes alone are carried on from
constexpr std::size_t no_stab = ~std::size_t{0};

/// One way to play an event.
struct GuitarState {
  neck::Grip grip;  // of the bass
  std::vector<neck::Position> positions = {};
  bool is_bass_let_go = false;
  bool is_held_on = false;
  std::size_t last_stab = no_stab;  // the last one struck so far, into the known stabs
  double cost = 0.0;                // of itself
  double so_far = unreached;        // of the cheapest way to it
  std::size_t from = 0;             // the state before on that way
};

/// A stab by its places, and its outer tones.
struct KnownStab {
  std::vector<neck::Position> positions;
  int lowest_midi = 0;
  int highest_midi = 0;
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
      for (GuitarState& state : found) {
        if (before == nullptr) {
          state.so_far = state.is_held_on ? unreached : state.cost;
        } else {
          reach(state, events[i].note, *before, events[played.back()].note);
        }
      }
      played.push_back(i);
      states.push_back(std::move(found));
    }
    std::vector<GuitarGrip> grips(events.size());
    std::size_t at = 0;
    if (!states.empty()) {
      at = static_cast<std::size_t>(
          std::ranges::min_element(states.back(), {}, &GuitarState::so_far) -
          states.back().begin());
    }
    for (std::size_t i = played.size(); i-- > 0;) {
      const GuitarState& state = states[i][at];
      at = state.from;
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
  [[nodiscard]] double bass_cost(const neck::Grip& grip, const GuitarEvent& event) const {
    const bool is_high = grip.string_number <= neck_.string_count() / 2;
    const bool is_off_pattern =
        event.wanted &&
        (event.wanted->string_number != grip.string_number || event.wanted->fret != grip.fret);
    return hand_.hold_cost(grip) + (is_high ? high_bass_price : 0.0) +
           (is_off_pattern ? off_pattern_price : 0.0);
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
    const std::vector<std::size_t> remembered = remembered_stabs(before);
    for (const neck::Grip& grip : grips) {
      double cost = bass_cost(grip, event);
      if (event.chord) cost += left_out_price;
      if (event.continues_hold) cost += released_price;
      for (const std::size_t stab : remembered) {
        bare.push_back({.grip = grip, .last_stab = stab, .cost = cost});
      }
      const neck::Position place{grip.string_number, grip.fret, 0};
      if (std::ranges::count(places, place) == 0) places.push_back(place);
    }
    if (event.chord) {
      for (const neck::Position& place : places) add_together(event, place, with_chord);
      if (event.is_struck_later) add_let_go(event, grips, with_chord);
    } else if (event.continues_hold && before != nullptr) {
      for (const neck::Position& place : places) add_held_on(event, place, *before, with_chord);
    }
    std::ranges::stable_sort(with_chord, {}, &GuitarState::cost);
    if (with_chord.size() > most_states) with_chord.resize(most_states);
    for (GuitarState& state : with_chord) state.last_stab = known(state.positions);
    with_chord.insert(with_chord.end(), bare.begin(), bare.end());
    return with_chord;
  }

  void add_together(const GuitarEvent& event, const neck::Position& place,
                    std::vector<GuitarState>& states) {
    for (const Voicing& voicing : voicings(*event.chord, place)) {
      GuitarState state{.grip = grip_of(*voicing.bass, voicing.index_fret),
                        .positions = voicing.positions};
      state.cost = bass_cost(state.grip, event) + voicing.cost;
      states.push_back(std::move(state));
    }
  }

  void add_let_go(const GuitarEvent& event, const std::vector<neck::Grip>& grips,
                  std::vector<GuitarState>& states) {
    for (const Voicing& voicing : voicings(*event.chord, std::nullopt)) {
      for (const neck::Grip& grip : grips) {
        if (grip.index_fret != voicing.index_fret) continue;
        GuitarState state{.grip = grip, .positions = voicing.positions, .is_bass_let_go = true};
        state.cost = bass_cost(grip, event) + voicing.cost + let_go_price;
        states.push_back(std::move(state));
      }
    }
  }

  /// The chords of the states before, with this bass note under the same fingers.
  void add_held_on(const GuitarEvent& event, const neck::Position& place,
                   const std::vector<GuitarState>& before, std::vector<GuitarState>& states) const {
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
        state.cost = bass_cost(state.grip, event) + held_effort_share * shape.effort;
        states.push_back(std::move(state));
        break;
      }
    }
  }

  /// The number of a stab among those that were met.
  [[nodiscard]] std::size_t known(const std::vector<neck::Position>& positions) {
    const auto found = std::ranges::find(known_, positions, &KnownStab::positions);
    if (found != known_.end()) return static_cast<std::size_t>(found - known_.begin());
    KnownStab stab{positions, 127, 0};
    for (const neck::Position& place : positions) {
      const int midi = neck::sounding_midi(neck_, place.string_number, place.fret);
      stab.lowest_midi = std::min(stab.lowest_midi, midi);
      stab.highest_midi = std::max(stab.highest_midi, midi);
    }
    known_.push_back(std::move(stab));
    return known_.size() - 1;
  }

  /// The last stabs of the cheapest ways so far, the cheapest first.
  [[nodiscard]] static std::vector<std::size_t> remembered_stabs(
      const std::vector<GuitarState>* before) {
    if (before == nullptr) return {no_stab};
    std::vector<const GuitarState*> cheapest;
    cheapest.reserve(before->size());
    for (const GuitarState& state : *before) cheapest.push_back(&state);
    std::ranges::stable_sort(cheapest, {}, [](const GuitarState* state) { return state->so_far; });
    std::vector<std::size_t> stabs;
    for (const GuitarState* state : cheapest) {
      if (std::ranges::find(stabs, state->last_stab) != stabs.end()) continue;
      stabs.push_back(state->last_stab);
      if (stabs.size() == most_remembered) break;
    }
    return stabs;
  }

  [[nodiscard]] double leading_cost(std::size_t from, std::size_t to) const {
    if (from == no_stab || from == to) return 0.0;
    return upper_voice_price * std::abs(known_[to].highest_midi - known_[from].highest_midi) +
           lower_voice_price * std::abs(known_[to].lowest_midi - known_[from].lowest_midi);
  }

  /// Finds the cheapest way to a state.
  void reach(GuitarState& to, const neck::LineNote& to_note, const std::vector<GuitarState>& before,
             const neck::LineNote& from_note) const {
    const bool is_bare = to.positions.empty();
    for (std::size_t k = 0; k < before.size(); ++k) {
      const GuitarState& state = before[k];
      if (to.is_held_on && (state.is_bass_let_go || state.positions != to.positions)) continue;
      if (is_bare && state.last_stab != to.last_stab) continue;
      double there = state.so_far;
      if (!is_bare && !to.is_held_on) there += leading_cost(state.last_stab, to.last_stab);
      if (there >= to.so_far) continue;
      there += hand_.move_cost(state.grip, from_note, to.grip, to_note);
      if (there < to.so_far) {
        to.so_far = there;
        to.from = k;
      }
    }
    to.so_far += to.cost;
  }

  neck::Neck neck_;
  neck::Hand hand_;
  StabWish wish_;
  std::map<VoicingKey, std::vector<Voicing>> kept_;
  std::vector<KnownStab> known_;
};

}  // namespace

std::vector<GuitarGrip> guitar_path(const neck::Neck& neck, const neck::FingeringOptions& options,
                                    const std::vector<GuitarEvent>& events, const StabWish& wish) {
  return GuitarPath(neck, options, wish).find(events);
}

}  // namespace lowstride::parts::detail
