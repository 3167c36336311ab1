#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace lowstride::dsp {

/// What is known about one beat before bars are drawn. All 0..1.
struct BeatWitness {
  double downbeat = 0.0;      // activation of a first beat here
  double chord_change = 0.0;  // how much harmony changes here
  double bass = 1.0;          // the low voice sounds from here to the next beat
  double music = 1.0;         // bass or harmony sounds from here to the next beat
};

struct BarOptions {
  std::optional<int> beats_per_bar;       // 3 or 4
  std::optional<std::size_t> first_beat;  // index of the one of bar 1
};

struct BarBeat {
  int bar = 0;
  int beat = 1;
  double probability = 0.0;  // of this number in the bar, given the beats and the meter
};

struct BarReading {
  int beats_per_bar = 4;
  std::vector<BarBeat> beats;  // one a witness
};

/// Bar and beat numbers by a hidden Markov model over (meter, position in the bar): the path by
/// Viterbi, its probabilities by the forward-backward algorithm (Rabiner, Proc. IEEE 77(2), 1989).
/// The meter holds for the whole recording; a beat may be dropped from or added to a bar at a
/// price. The first full bar after the count-in is 1: leading beats without music are the count-in.
[[nodiscard]] BarReading find_bars(std::span<const BeatWitness> witnesses,
                                   const BarOptions& options);

}  // namespace lowstride::dsp
