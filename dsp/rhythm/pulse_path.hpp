#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace lowstride::dsp {

struct PulseOptions {
  double shortest_period_frames = 16.0;   // >= 4
  double longest_period_frames = 130.0;   // > shortest
  std::vector<std::size_t> fixed_frames;  // rising; the path has a beat on each
};

struct PulsePath {
  std::vector<std::size_t> frames;  // of the beats, rising
  double score = 0.0;  // how well they explain the activation: to be compared with the score of
                       // another search through the same activation
};

/// The most probable beats under `beat` (probability a frame that a beat falls there), as rising
/// frame numbers; none when idling explains the frames better than any pulse, or when the fixed
/// frames cannot be reached within the range of periods.
///
/// Hidden states are (period, position in the beat); a position is written as the distance to the
/// beat, so that one step of the search is one beat (semi-Markov) and its cost does not grow with
/// the frame rate. A beat pays log(activation); frames within a twelfth of the period of it, and
/// within three frames at least, nothing; the others 0.25 of log(1 − activation). The period may
/// change at a beat, priced by the ratio; an interval may miss its period by a few frames. Memory:
/// 40 bytes a frame (12 MB an hour at 86 frames a second) and up to 10 MB; what lies more than six
/// minutes back is searched a second time on the way back.
/// Source: Krebs, Böck & Widmer, "An efficient state-space model for joint tempo and meter
/// tracking", ISMIR 2015 (states and prices). The free stretch comes from measurement: with the
/// published rule (the first sixteenth is the beat) the tempo of one rendered clip in twelve was
/// halved, with a twelfth alone that of six fast lines of 120 held-out recordings.
[[nodiscard]] PulsePath find_pulse(std::span<const float> beat, const PulseOptions& options);

}  // namespace lowstride::dsp
