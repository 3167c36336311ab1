#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::neck {

/// A note of a line that is to be fingered. Notes are in order of time, one at a time.
struct LineNote {
  double onset_seconds = 0.0;
  double offset_seconds = 0.0;
  int midi = 0;                                   // sounding
  bool is_dead = false;                           // its pitch binds only where the neck has it
  std::optional<Position> pinned = std::nullopt;  // string and fret that a person chose; `finger` 0
                                                  // on a fretted note leaves the finger open
  Articulation articulation = Articulation::plucked;
  bool rings_into_change = false;  // a chord to which it does not belong begins with the next note
};

/// One way to play a note, and how much dearer the best line through it is than the best line (of
/// a note in a motif: before shapes were kept alike).
struct RankedPosition {
  Position position;
  double extra_cost = 0.0;  // >= 0

  bool operator==(const RankedPosition&) const = default;
};

struct FingeredNote {
  std::optional<Position> position;          // nothing when the neck does not have the note
  std::vector<RankedPosition> alternatives;  // other strings, cheapest first

  bool operator==(const FingeredNote&) const = default;
};

struct Fingering {
  std::vector<FingeredNote> notes;  // one to each note of the line
  int octave_shift = 0;             // whole octaves that the line was moved up by to fit the neck
  int out_of_range_count = 0;       // notes without a position
  std::vector<std::size_t> unusable_pins;  // notes whose pin does not give their pitch on this neck
  double cost = 0.0;         // of the whole line, in millimetres of comfortable movement
  int kept_shape_count = 0;  // times a motif was played in the shape that it had elsewhere
};

/// Fingers a line for a hand: Viterbi over (string, fret, finger, place of the index finger) with
/// the whole line in view. Span and shift are priced in millimetres of this neck and by the time
/// there is; a shift under an open string or a rest costs little or nothing; low on a long neck the
/// hand covers three frets (fingers 1 2 4), elsewhere four. A finger that stays on its string and
/// moves a fret or two slides there, which is cheaper than a jump; quick notes ask for one string
/// (hammered on and pulled off) before they ask for two; an open string that would ring into a
/// chord to which it does not belong is dear unless the next note stops it.
///
/// A note that is hammered, pulled off or slid to lies on the string of the note before it, under
/// another finger of the same place of the hand or under the same finger; only where no hand can do
/// that it does not.
///
/// A motif – four to sixteen notes with the same steps and rhythm as others before them – keeps its
/// shape on other strings and frets where that costs little more (see motifs.hpp); the path is the
/// cheapest of all that do so.
///
/// Pinned notes keep their string and fret; the phrase around them (between rests, 32 notes at
/// most) is solved again, and no other phrase changes. A line of which more than one note in twenty
/// lies below the neck is raised as one piece by the fewest whole octaves that bring it up;
/// `octave_shift` says so (the options may say another), and pinned positions are those of the
/// raised line. Notes that the neck does not have even so carry no position. Equal costs: the lower
/// string first, then the lower hand.
///
/// A pin that does not give the note's pitch on this neck is passed over and listed.
///
/// Errors: invalid_argument for a neck that makes no sense.
/// Thread-safe. Sources: Sayegh, Computer Music Journal 13(3), 1989 (optimum path); Radicioni,
/// Anselma & Lombardo, 2004 (along-neck and across-neck costs, hand span). Weights: our own, by
/// the tests beside this room.
[[nodiscard]] Result<Fingering> finger_line(const Neck& neck, std::span<const LineNote> line,
                                            const FingeringOptions& options = {},
                                            std::optional<int> octave_shift = {});

}  // namespace lowstride::neck
