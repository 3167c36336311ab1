#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::sheet {

/// Steps of written rhythm to a beat: halves, thirds, quarters and sixths are whole numbers.
inline constexpr int tatums_per_beat = 12;

/// How a beat is divided in writing.
enum class Division : std::uint8_t { whole = 1, halves = 2, thirds = 3, quarters = 4, sixths = 6 };

struct LayoutOptions {
  std::optional<int> first_bar = std::nullopt;
  std::optional<int> last_bar = std::nullopt;  // inclusive
  std::optional<take::Stretch> stretch = std::nullopt;
  double doubt_threshold = 0.8;
  bool has_repeats = false;  // bars that come again are written once, see repeats.hpp
};

/// How a note is sounded from the one before it; `none` where it is plucked.
enum class Joint : std::uint8_t { none, hammer_on, pull_off, slide };

/// One written piece of a note: a note held over a barline has one piece a bar, tied.
struct SheetNote {
  std::size_t note_index = 0;  // into Take::notes
  int onset_tatums = 0;        // from the start of the bar
  int length_tatums = 0;       // > 0
  int midi = 0;                // as the hand plays it: sounding plus the take's octave shift
  bool is_tied_from_previous = false;
  bool is_tied_to_next = false;
  bool is_dead = false;
  bool is_doubt = false;
  std::optional<neck::Position> position;
  Joint joint = Joint::none;          // of the first piece, if the note before is written too
  Joint joint_to_next = Joint::none;  // of the last piece: how the note after it is sounded

  bool operator==(const SheetNote&) const = default;
};

/// One written piece of a stab, the second voice of a guitar part; cut and tied as notes are.
struct SheetStab {
  std::size_t stab_index = 0;                  // into Take::stabs
  int onset_tatums = 0;                        // from the start of the bar
  int length_tatums = 0;                       // > 0
  std::vector<neck::Position> positions = {};  // lowest string first
  std::vector<int> midi = {};                  // what each of them sounds
  bool is_tied_from_previous = false;
  bool is_tied_to_next = false;

  bool operator==(const SheetStab&) const = default;
};

struct SheetChord {
  std::size_t chord_index = 0;  // into Take::chords
  int onset_tatums = 0;
  std::string text;  // as charts write it
  bool is_doubt = false;

  bool operator==(const SheetChord&) const = default;
};

struct SheetBar {
  int number = 1;      // the first full bar is 1; a pick-up has 0 or less
  int first_beat = 1;  // of a pick-up bar: the beat that it begins on
  int beat_count = 4;
  std::vector<std::int64_t> beat_samples;  // beat_count + 1 times; the last is the next bar's first
  std::vector<Division> divisions;         // one a beat
  std::vector<SheetNote> notes;            // in order; never overlapping
  std::vector<SheetStab> stabs = {};       // in order; never overlapping one another
  std::vector<SheetChord> chords;
  // Repeats, see repeats.hpp; as set by lay_out where they are asked for.
  bool begins_repeat = false;
  int repeat_times = 0;                    // of the stretch that ends here; 0 = none ends
  int ending = 0;                          // the pass whose end this bar belongs to; 0 = every
  std::vector<int> repeated_numbers = {};  // of the bars that this one stands for as well

  [[nodiscard]] int length_tatums() const noexcept { return beat_count * tatums_per_beat; }
  bool operator==(const SheetBar&) const = default;
};

/// The written form of a take, which all sheets are made from.
struct SheetLayout {
  std::vector<SheetBar> bars;         // empty without a grid
  std::optional<double> swing_ratio;  // halves stand for long and short; nothing when even
  std::vector<std::size_t> unbarred;  // notes too far outside the grid to be counted
  std::vector<std::size_t> crowded;   // notes left out: more than twelve in their beat
  std::size_t stabs_left_out = 0;     // outside the grid, or two on one place
  std::optional<double> tempo_bpm;    // median; nothing without a grid
};

/// Whether a passage begins in a bar; one marked by hand may begin up to half a beat before its
/// line.
[[nodiscard]] bool begins_in(const take::Passage& passage, const SheetBar& bar);

/// Quantises the line to its grid, beat by beat: each beat takes the division under which its
/// onsets are likeliest, simple ones first; a swung pair is written as two halves where the take
/// swings. Rests shorter than half a beat are not written. A stab struck with a note stands where
/// the note stands, others on the nearest slot of their beat. In every bar the notes and rests, and
/// the stabs and the rests between them, add up to its beats exactly. The grid is continued past
/// its ends by up to eight bars to hold all notes.
[[nodiscard]] SheetLayout lay_out(const take::Take& take, const LayoutOptions& options = {});

}  // namespace lowstride::sheet
