#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/base/result.hpp"
#include "src/drill/item.hpp"
#include "src/drill/memory.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::drill {

/// A pitch as it was answered. By name alone the octave is left open and is not judged.
struct AnsweredNote {
  double beat = 0.0;  // from the item's first beat; ignored where one note is asked
  int midi = 0;       // sounding
  bool has_octave = true;
  bool is_dead = false;

  bool operator==(const AnsweredNote&) const = default;
};

struct NoteAnswer {
  AnsweredNote note;
};
struct RoleAnswer {
  theory::Role role = theory::Role::root;
};
/// Where the chord was said to change, in beats from the item's first one.
struct TapAnswer {
  std::vector<double> beats;
};
struct ChordAnswer {
  dsp::ChordReading chord;
};
/// A line, typed or played. `is_played`: its times are a player's and are judged.
struct LineAnswer {
  std::vector<AnsweredNote> notes;
  bool is_played = false;
};
/// 0 for the first version (A), 1 for the second (B).
struct ChoiceAnswer {
  int index = 0;
};
struct GiveUp {};

using Answer =
    std::variant<NoteAnswer, RoleAnswer, TapAnswer, ChordAnswer, LineAnswer, ChoiceAnswer, GiveUp>;

/// Whether an answer is of the sort that an item asks for. Giving up always is.
[[nodiscard]] bool fits(const Item& item, const Answer& answer) noexcept;

/// What a teacher writes over a note in pencil.
enum class Mark : std::uint8_t {
  tick,    // right
  octave,  // right name, wrong octave: "8ve"
  up,      // the right note lies higher: an arrow up
  down,    // the right note lies lower
  open,    // left open
  extra,   // written where nothing was played
};
/// "ok", "8ve", "up", "down", "open", "extra".
[[nodiscard]] std::string_view mark_text(Mark mark) noexcept;

struct MarkedNote {
  double beat = 0.0;  // of the right note, or of the extra one
  Mark mark = Mark::open;
  std::optional<int> right_midi;       // nothing for an extra note
  std::optional<int> heard_midi;       // nothing for an open one
  std::optional<double> late_seconds;  // of a played note; negative: early. At the speed played

  bool operator==(const MarkedNote&) const = default;
};

/// What an answer is worth.
struct Verdict {
  bool is_right = false;
  double share_right = 0.0;              // 0..1: of notes, or of the parts of one answer
  std::vector<MarkedNote> marks;         // where notes were asked, in order of time
  std::string heard;                     // what was answered, in few words: "third", "Bb7", "B"
  std::string right;                     // what was right
  std::string remark;                    // one sentence on how it went
  std::optional<double> late_seconds;    // median of a played line
  std::optional<double> spread_seconds;  // of a played line: half the interquartile range

  bool operator==(const Verdict&) const = default;
};

struct JudgeOptions {
  double speed_ratio = 1.0;       // at which the item was heard and played
  int variation_seed = 0;         // of which-is-it, see variation.hpp
  double near_beats = 0.5;        // a change tapped this close is found
  double on_time_seconds = 0.06;  // a played line whose median is later than this drags
};

/// Judges an answer. Requires `fits`. Giving up is wrong, with every mark open. A line counts as
/// right when all its notes have ticks and none is extra; one by name alone gets a tick without an
/// octave. Notes of a line are matched to those of the item in order of time by the cheapest
/// alignment (dynamic programming as in Wagner & Fischer, JACM 21(1), 1974) of pitch and place,
/// never more than half a beat apart.
[[nodiscard]] Verdict judge(const Item& item, const Answer& answer,
                            const JudgeOptions& options = {});

/// Whether every note that was asked has its right name, and one or more another octave.
[[nodiscard]] bool is_in_another_octave(const Verdict& verdict) noexcept;

/// How the answer came about.
struct Effort {
  int hint_count = 0;
  int wrong_try_count = 0;        // before this answer; each shows marks, which are a hint
  double thinking_seconds = 0.0;  // since the sound ended
};

/// The grade of the formulas. Wrong, or right only after the note itself was told or heard: missed.
/// Right after other hints or a wrong try, or in another octave: with hints (what was heard is
/// kept, but neither as easily nor any faster). Right alone: at once within `quick_seconds(item)`,
/// else slow; a played line that drags is slow.
[[nodiscard]] Grade grade_of(const Item& item, const Verdict& verdict, const Effort& effort);

/// 1 for a right answer without help; each hint takes a fifth off, the share of right notes counts.
[[nodiscard]] double points_of(const Verdict& verdict, const Effort& effort);

/// Time to think within which an answer comes at once: 4 s for a single note, role, chord, change
/// or choice, 3 s a note for a line that is written.
[[nodiscard]] double quick_seconds(const Item& item) noexcept;

}  // namespace lowstride::drill
