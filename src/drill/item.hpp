#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "src/neck/neck.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/pitch.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::drill {

/// What is asked. The order is stored in histories: append only.
enum class Kind : std::uint8_t {
  find_the_note,      // a passage is heard, the note on one beat is asked
  name_the_role,      // what that note does against its chord
  spot_the_change,    // where does the chord change
  name_the_chord,     // quality and bass note
  write_the_bar,      // an empty bar of tab is filled by ear
  play_it_back,       // the line is played over the recording without its low voice
  which_is_it,        // of two versions of a bar, the one that was played
  hide_and_work_out,  // a passage is taken down; compared at the end only
};
inline constexpr std::size_t kind_count = 8;
[[nodiscard]] std::span<const Kind> all_kinds() noexcept;

/// "find the note".
[[nodiscard]] std::string_view kind_text(Kind kind) noexcept;
/// The word that stands for a kind where it is typed: note, role, change, chord, bar, play, which,
/// passage.
[[nodiscard]] std::string_view kind_word(Kind kind) noexcept;
[[nodiscard]] std::optional<Kind> kind_from_word(std::string_view word) noexcept;

/// A confirmed note inside an item.
struct ItemNote {
  double beat = 0.0;          // beats from the item's first one; to a hundredth
  double length_beats = 1.0;  // > 0
  std::int64_t onset_samples = 0;
  int midi = 0;  // sounding
  bool is_dead = false;
  std::optional<theory::Role> role;        // where the chords around it are confirmed
  std::optional<int> interval_semitones;   // from the note before it in the line
  std::optional<neck::Position> position;  // as the take's fingering has it
  bool operator==(const ItemNote&) const = default;
};

/// A confirmed chord that sounds in an item; the first may begin at or before its first beat.
struct ItemChord {
  double beat = 0.0;
  dsp::ChordReading chord;
  std::string name;  // as charts write it

  bool operator==(const ItemChord&) const = default;
};

/// One thing to be asked, with all that grading and sounding need. A value; made from a take by
/// `items_of` and as good as the take is.
struct Item {
  std::string key;  // the same for the same question about the same recording, whatever is edited
                    // elsewhere in the take
  Kind kind = Kind::find_the_note;
  std::string take_key;   // of the take that it comes from, see take_key_of
  std::string place;      // "bar 5", "bars 5 to 8"
  std::string passage;    // name of the passage that it lies in, or empty
  take::Stretch stretch;  // what is heard, in samples of the take
  int first_bar = 1;
  int beats_per_bar = 4;
  std::vector<std::int64_t> beat_samples;  // its beats and the one that ends it; 2 or more
  std::vector<ItemNote> notes;
  std::vector<ItemChord> chords;
  std::size_t asked = 0;  // index into notes (note, role) or chords (chord)
  double tempo_bpm = 120.0;
  std::int64_t time_base_hz = 48000;
  double a4_hz = 440.0;
  std::optional<theory::Key> tune_key;
  neck::Neck neck;
  int octave_shift = 0;  // of the take: the neck sounds the line this many octaves up
  bool has_recording = false;

  [[nodiscard]] double beat_count() const noexcept {
    return static_cast<double>(beat_samples.size() - 1);
  }
  [[nodiscard]] double seconds_per_beat() const noexcept { return 60.0 / tempo_bpm; }
  bool operator==(const Item&) const = default;
};

/// Whose answers belong together: the recording's content hash, or for a line without a recording
/// its title and length.
[[nodiscard]] std::string take_key_of(const take::Take& take);

struct ItemOptions {
  std::vector<Kind> kinds;             // empty: all
  std::optional<std::string> passage;  // only what lies in it
  int longest_hidden_bars = 4;         // of a passage that is taken down
};

/// Every item that a take's confirmed notes and chords yield, in order of kind and time. A bar is
/// used only if no unconfirmed note touches it; a note is asked for if it begins within a quarter
/// of a beat of a beat and no other note does; a role if the chords under it and under the note
/// after it are confirmed; a chord if it lasts two beats or more; a change if both chords are
/// confirmed and follow each other at once. Dead notes are never asked for. Without a grid there is
/// none. Named passages are used for working out, else runs of four bars.
[[nodiscard]] std::vector<Item> items_of(const take::Take& take, const ItemOptions& options = {});

/// Where a beat of an item lies, as players say it: "bar 5, beat 3", "bar 5, half way after beat
/// 3", "bar 6, just before beat 1". An eighth of a beat early or late is on the beat.
[[nodiscard]] std::string beat_text(const Item& item, double beat);

/// The sample of a place in beats, linear between beats and continued past both ends.
[[nodiscard]] double sample_of_beat(const Item& item, double beat);
[[nodiscard]] double beat_of_sample(const Item& item, double sample);

}  // namespace lowstride::drill
