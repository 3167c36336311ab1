#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "src/parts/chart.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::parts {

/// Graded versions of a line, easiest first. A level is known to people by its number, 1 to 6.
enum class Level : std::uint8_t {
  roots = 1,    // the root where a chord begins and on each one
  walk_ups,     // the same, and steps of the scale to the next root
  root_fifth,   // root and fifth in turn, half a bar each
  chord_tones,  // the line's own pace and shape, on tones of the chord alone
  approaches,   // the line on the beats, and a half step to each new root
  whole_line,   // as it was played
};
inline constexpr std::array<Level, 6> all_levels{Level::roots,      Level::walk_ups,
                                                 Level::root_fifth, Level::chord_tones,
                                                 Level::approaches, Level::whole_line};

/// The three that a pupil begins with: roots and what joins them, whatever the line does.
[[nodiscard]] constexpr bool is_first_level(Level level) noexcept {
  return level <= Level::root_fifth;
}
/// "roots with walk-ups".
[[nodiscard]] std::string_view level_name(Level level) noexcept;
/// The level of a number 1..6; nothing for others.
[[nodiscard]] std::optional<Level> level_from_number(int number) noexcept;

/// Pitches that may be used, both included. Requires an octave at least.
struct PitchRange {
  int lowest_midi = 28;
  int highest_midi = 62;
};

/// A note that begins on a beat and lasts whole beats.
struct ChartNote {
  std::size_t beat = 0;  // index into the chart's beats
  std::size_t length_beats = 1;
  int midi = 0;

  bool operator==(const ChartNote&) const = default;
};

/// The line of a level over a chart; not for `whole_line`, which is the line itself. Rules, all
/// common practice:
/// - A chord is begun by its root (a slash chord by its bass) in every level, in the octave nearest
///   to what the finished line plays there, else to the root before; in the first three levels near
///   the root before where it would lie more than a fifth away.
/// - A walk-up is one or two notes of the scale in force on the last beats before a change; they
///   lead by step to the next root, which stands on the first beat of the next chord.
/// - Root and fifth: the fifth below where the range has it, above where not; as the chord has it
///   (diminished, augmented). In three the root lasts two beats and the fifth one.
/// - Chord tones: on each beat that the line strikes (each beat, where it strikes none under a
///   chord) the tone of the chord nearest to the line's own note, not the one before again; with
///   three notes or more under a chord its third is among them: the minor third of a minor chord,
///   the major third of a major or dominant one.
/// - Approaches: on the beats that the line strikes, the line; the last beat before a change stays
///   if it is a step from the next root, and else is a half step below or above it.
/// Beats without a chord keep the line's note on the first beat of a bar, from `chord_tones` on
/// each. Deterministic.
[[nodiscard]] std::vector<ChartNote> level_line(const std::vector<ChartBeat>& beats, Level level,
                                                const std::optional<theory::Key>& key,
                                                const PitchRange& range);

/// A boogie line over a chart, a note a beat, common practice: root, third, fifth, sixth, and over
/// two bars of a seventh chord on to flat seventh, sixth, fifth, third; over one bar of it root,
/// fifth, sixth, flat seventh; in two beats root and sixth (flat seventh). Roots are as low as the
/// range has them, where the pattern lies under one hand on the lowest strings. Chords whose fifth
/// is not perfect have their own tones only. `beats` without a chord have no note.
[[nodiscard]] std::vector<ChartNote> boogie_line(const std::vector<ChartBeat>& beats,
                                                 const PitchRange& range);

}  // namespace lowstride::parts
