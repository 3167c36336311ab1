#pragma once

#include "src/audio/score.hpp"
#include "src/take/take.hpp"

namespace lowstride::audio {

/// What of a take can be heard: its line as it sounds on the recording (not moved by
/// `octave_shift`), its beats, and its chords as stabs of a guitar, struck where the chord begins
/// and again on each one inside it. The voicings are simple ones between E3 and E5: the seventh
/// chord's third and seventh with the fifth or root above them (common practice in comping), so
/// that the low line stays free. Spans without a chord are silent.
///
/// A take that was arranged for one guitar is heard as that guitar plays it: its stabs, each as
/// long and on the strings and frets that the take has for it, and the line in the octave of the
/// strings.
[[nodiscard]] Score score_of_take(const take::Take& take);

/// The stab of a chord, lowest first; empty for no chord.
[[nodiscard]] std::vector<int> stab_pitches(const dsp::ChordReading& chord);

}  // namespace lowstride::audio
