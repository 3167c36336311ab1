#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "dsp/pitch/note_decoder.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::take {

enum class NoteId : std::uint64_t {};
enum class BeatId : std::uint64_t {};
enum class ChordId : std::uint64_t {};
enum class PassageId : std::uint64_t {};
enum class RemarkId : std::uint64_t {};

/// `confirmed`: stands by a person's word; analysis never touches it again. "Doubt" is not stored:
/// see is_doubt().
enum class State : std::uint8_t { proposed, confirmed };

// `unknown_fields_json` in an entry holds what its line in the file says beyond what this version
// knows, as a JSON object, or "". It is carried along and written again.

/// The recording that a take was worked out from. Its rate is the take's `time_base_hz`.
struct RecordingRef {
  std::string path = {};  // relative to the take's folder, '/' as separator
  std::int64_t sample_count = 0;
  int channel_count = 1;
  std::string content_hash = {};  // of the file's bytes, see src/audio

  bool operator==(const RecordingRef&) const = default;
};

struct Note {
  NoteId id{};
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;  // half-open: [onset, offset)
  int midi = 0;                     // sounding, on the tuned grid
  bool is_dead = false;
  neck::Articulation articulation = neck::Articulation::plucked;
  State state = State::proposed;
  double confidence = 0.0;     // 0..1; 1 when confirmed
  double octave_margin = 1.0;  // 0..1
  int acoustic_midi = 0;       // what the sound alone says, before any musical reading
  std::vector<dsp::PitchCandidate> alternatives = {};
  std::optional<neck::Position> position = {};
  bool is_position_pinned = false;  // a person chose string and fret
  std::string unknown_fields_json = {};

  bool operator==(const Note&) const = default;
};

/// A stretch in which a person removed what was proposed: no note is proposed here again. Gaps do
/// not overlap or touch, and no note lies in one.
struct ConfirmedGap {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::string unknown_fields_json = {};

  bool operator==(const ConfirmedGap&) const = default;
};

struct Beat {
  BeatId id{};
  std::int64_t time_samples = 0;
  int bar = 1;
  int beat = 1;  // 1 = downbeat
  State state = State::proposed;
  double confidence = 0.0;
  bool is_pinned_one = false;  // a person said "this is one": bars are counted anew from here
  std::string unknown_fields_json = {};

  bool operator==(const Beat&) const = default;
};

struct ChordSpan {
  ChordId id{};
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  dsp::ChordReading chord = {};
  std::string written =
      {};  // a label typed by a person with more in it than `chord` holds; else empty
  State state = State::proposed;
  double confidence = 0.0;
  bool is_implied = false;
  std::vector<dsp::ChordCandidate> alternatives = {};
  std::string unknown_fields_json = {};

  bool operator==(const ChordSpan&) const = default;
};

struct Key {
  int tonic_pc = 0;
  bool is_minor = false;
  State state = State::proposed;
  double confidence = 0.0;

  bool operator==(const Key&) const = default;
};

struct Passage {
  PassageId id{};
  std::string name = {};
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::optional<int> colour = {};  // 0..5 as a person chose it; nothing: by its place in the list
  std::string unknown_fields_json = {};

  bool operator==(const Passage&) const = default;
};

/// What a teacher says to a pupil about a bar or a note; it is printed on the sheets.
struct Remark {
  RemarkId id{};
  std::int64_t at_samples = 0;      // where it was made
  std::optional<NoteId> note = {};  // the note that it is about; while that is there it follows it
  std::string text = {};
  std::string unknown_fields_json = {};

  bool operator==(const Remark&) const = default;
};

/// A chord hit of the guitar part: strings struck together, beside the line or between its notes.
/// It sounds what its positions sound on the take's neck (`neck::sounding_midi`; the take's octave
/// shift moves the line alone). Made by arranging, neither proposal nor confirmed: it stays until
/// the take is arranged again or gets another neck.
struct Stab {
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;
  std::vector<neck::Position> positions = {};  // 1..strings, one a string, lowest string first
  std::string unknown_fields_json = {};

  bool operator==(const Stab&) const = default;
};

enum class Voice : std::uint8_t { bass, guitar };

/// A line with its grid, chords, neck and decisions. A regular value: equal after save and load,
/// equal after edit and undo. All lists are in order of time; notes do not overlap, nor do chords;
/// everything lies within [0, length_samples]. `check_take` (validate.hpp) says whether all that
/// holds. Change a take through `apply` (edit.hpp) alone.
struct Take {
  std::string title;
  std::string composer;
  std::optional<RecordingRef> recording;  // nothing for a line that was read from notation
  std::int64_t time_base_hz = 48000;      // samples a second: the recording's own rate
  std::int64_t length_samples = 0;
  Voice voice = Voice::bass;  // what was recorded
  double a4_hz = 440.0;
  State tuning_state = State::proposed;
  int beats_per_bar = 4;
  State meter_state = State::proposed;
  std::optional<double> swing_ratio;
  std::optional<Key> key;
  std::string form;  // "twelve-bar blues", …; empty when none was recognised
  State form_state = State::proposed;
  neck::Neck neck;                   // whose hand will play
  neck::FingeringOptions fingering;  // how that hand likes to play
  int octave_shift = 0;  // whole octaves that the line is moved by to fit the neck; 0 mostly
  std::vector<Note> notes;
  std::vector<ConfirmedGap> gaps;
  std::vector<Beat> beats;
  std::vector<ChordSpan> chords;
  std::vector<Passage> passages;
  std::vector<Remark> remarks;
  std::vector<Stab> stabs;    // of an arrangement for one guitar; do not overlap one another
  std::uint64_t next_id = 1;  // ids are given once; only undo takes one back
  std::string analysis_version;
  // Fields of the file that this version does not know, as a JSON object or ""; kept. Those of
  // `recording`, `key` and `neck` are in objects of that name.
  std::string unknown_fields_json;

  bool operator==(const Take&) const = default;
};

/// An unconfirmed proposal with confidence or octave margin under `threshold`.
[[nodiscard]] inline bool is_doubt(const Note& note, double threshold = 0.8) noexcept {
  return note.state == State::proposed &&
         (note.confidence < threshold || note.octave_margin < threshold);
}
[[nodiscard]] inline bool is_doubt(const ChordSpan& chord, double threshold = 0.8) noexcept {
  return chord.state == State::proposed && chord.confidence < threshold;
}

/// Where a remark stands: where its note begins, or else where it was made. Linear in the notes.
[[nodiscard]] std::int64_t place_of(const Take& take, const Remark& remark) noexcept;

}  // namespace lowstride::take
