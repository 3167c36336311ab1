#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

// Edits are data: they can be logged, compared, stored in a journal and sent between threads.
// Times are samples of the take. A hand edit confirms what it touches. Where an edit is refused
// the sentence says what is in the way.

// ---- Notes -----------------------------------------------------------------------------------

/// A new confirmed note. It takes its place among the others as a hand would expect of one voice:
/// a note that rings into it is cut, proposals that begin inside it go, it ends where the next
/// confirmed note begins. Refused where a confirmed note begins at the same sample.
struct AddNote {
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;
  int midi = 0;  // 0..127, sounding
  bool is_dead = false;
  bool operator==(const AddNote&) const = default;
};

/// Takes a note away and leaves a confirmed gap where it was.
struct RemoveNote {
  NoteId id{};
  bool operator==(const RemoveNote&) const = default;
};

/// Changes what is given and confirms the note. Its new place is made as for AddNote. With a new
/// pitch the old one becomes its first alternative, and a string and fret that no longer give the
/// pitch are forgotten.
struct ReplaceNote {
  NoteId id{};
  std::optional<std::int64_t> onset_samples = {};
  std::optional<std::int64_t> offset_samples = {};
  std::optional<int> midi = {};
  std::optional<bool> is_dead = {};
  bool operator==(const ReplaceNote&) const = default;
};

/// Two confirmed notes of one pitch out of one; the second begins at `at_samples`, inside it.
struct SplitNote {
  NoteId id{};
  std::int64_t at_samples = 0;
  bool operator==(const SplitNote&) const = default;
};

/// The note and the one after it become one confirmed note with the first one's pitch.
struct JoinNotes {
  NoteId first{};
  bool operator==(const JoinNotes&) const = default;
};

/// "Nothing is played here": notes that begin in the stretch go, one that rings into it is cut, and
/// the whole stretch becomes a confirmed gap.
struct AddGap {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  bool operator==(const AddGap&) const = default;
};

/// Analysis may propose in the stretch again.
struct RemoveGap {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  bool operator==(const RemoveGap&) const = default;
};

// ---- Confirming ------------------------------------------------------------------------------

struct Confirm {
  std::vector<NoteId> notes = {};
  std::vector<BeatId> beats = {};
  std::vector<ChordId> chords = {};
  bool tuning = false;
  bool meter = false;
  bool key = false;
  bool operator==(const Confirm&) const = default;
};

/// Every note and beat that begins in [begin, end) and every chord that lies in it more than half.
struct ConfirmStretch {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  bool operator==(const ConfirmStretch&) const = default;
};

/// Back to proposals, with confidence 0.5 at most: a person doubts them.
struct MarkDoubtful {
  std::vector<NoteId> notes = {};
  std::vector<BeatId> beats = {};
  std::vector<ChordId> chords = {};
  bool operator==(const MarkDoubtful&) const = default;
};

// ---- Neck and fingering ----------------------------------------------------------------------

/// Whose hand will play. Positions that no longer give their pitch are forgotten, and so are all
/// stabs unless strings and capo stay as they are and every fret is still there. The hand's wishes
/// are forgotten where they make no sense on this neck.
struct SetNeck {
  neck::Neck neck = {};
  int octave_shift = 0;  // whole octaves that the line is moved by to fit
  bool operator==(const SetNeck&) const = default;
};

/// How the hand likes to play; the line is fingered anew by SetFingering. Refused where the span is
/// none, a string or position is not there, or every string is left out.
struct SetFingeringOptions {
  neck::FingeringOptions options = {};
  bool operator==(const SetFingeringOptions&) const = default;
};

/// A person chooses string and fret (confirms the note), or gives the choice back (nullopt).
/// Refused where the position does not give the note's pitch on the take's neck.
struct PinPosition {
  NoteId id{};
  std::optional<neck::Position> position = {};
  bool operator==(const PinPosition&) const = default;
};

struct PlacedNote {
  NoteId id{};
  std::optional<neck::Position> position = {};
  bool operator==(const PlacedNote&) const = default;
};

/// How the note is sounded (confirms it). Refused for a note without one before it, unless plucked.
struct SetArticulation {
  NoteId id{};
  neck::Articulation articulation = neck::Articulation::plucked;
  bool operator==(const SetArticulation&) const = default;
};

/// The machine's fingering. Confirms nothing and leaves pinned positions alone.
struct SetFingering {
  std::vector<PlacedNote> notes = {};
  bool operator==(const SetFingering&) const = default;
};

/// The stabs of an arrangement: these (in order, inside the stretch) in place of those that begin
/// in [begin, end). A stab before the stretch that rings into the first of them is cut. Refused
/// where a position is not on the take's neck or one would ring into a stab after the stretch.
struct SetStabs {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::vector<Stab> stabs = {};
  bool operator==(const SetStabs&) const = default;
};

// ---- Grid ------------------------------------------------------------------------------------
// Bars are counted on from what an edit changed, and a pinned one (BeatOne) is a one. Where the
// count meets the bars that were there before, those stay, irregular ones among them.
// A deleted beat stays deleted: its neighbours are confirmed, and nothing is proposed between two
// neighbouring confirmed beats.

struct AddBeat {
  std::int64_t time_samples = 0;
  bool operator==(const AddBeat&) const = default;
};

/// Refused where it would pass a neighbour.
struct MoveBeat {
  BeatId id{};
  std::int64_t time_samples = 0;
  bool operator==(const MoveBeat&) const = default;
};

struct RemoveBeat {
  BeatId id{};
  bool operator==(const RemoveBeat&) const = default;
};

/// Confirmed beats at `times_samples` (rising, inside the stretch) instead of those in
/// [begin, end): tapping along, doubling, halving, moving many.
struct ReplaceBeats {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::vector<std::int64_t> times_samples = {};
  bool operator==(const ReplaceBeats&) const = default;
};

/// "This is one." Without `bar`, bar 1 becomes the downbeat nearest to where bar 1 began before;
/// behind an earlier pinned one the count goes on from there.
struct BeatOne {
  BeatId id{};
  std::optional<int> bar = {};
  bool operator==(const BeatOne&) const = default;
};

struct SetMeter {
  int beats_per_bar = 4;  // 2..12
  bool operator==(const SetMeter&) const = default;
};

// ---- Chords ----------------------------------------------------------------------------------

/// A confirmed chord over [begin, end). Chords beside it are cut; one that reaches out on both
/// sides goes on after it.
struct SetChord {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  dsp::ChordReading chord = {};
  std::string written = {};  // what was typed, where it says more than `chord`
  bool operator==(const SetChord&) const = default;
};

/// "No change here": the chord before goes on (or the next one begins earlier) and is confirmed;
/// the only chord becomes "no chord".
struct RemoveChord {
  ChordId id{};
  bool operator==(const RemoveChord&) const = default;
};

/// Moves the change to this chord; the one before is cut or goes on. Both are confirmed.
struct MoveChord {
  ChordId id{};
  std::int64_t begin_samples = 0;
  bool operator==(const MoveChord&) const = default;
};

// ---- The take as a whole ---------------------------------------------------------------------

struct SetTuning {
  double a4_hz = 440.0;  // 380..500
  bool operator==(const SetTuning&) const = default;
};

struct SetKey {
  int tonic_pc = 0;
  bool is_minor = false;
  bool operator==(const SetKey&) const = default;
};

struct SetTitle {
  std::string title = {};
  bool operator==(const SetTitle&) const = default;
};

struct SetComposer {
  std::string composer = {};
  bool operator==(const SetComposer&) const = default;
};

struct SetForm {
  std::string form = {};
  bool operator==(const SetForm&) const = default;
};

/// Where the recording is now. Refused when it is another recording (length or content differ).
struct SetRecording {
  RecordingRef recording = {};
  bool operator==(const SetRecording&) const = default;
};

// ---- Passages --------------------------------------------------------------------------------

/// Names are unique in a take.
struct AddPassage {
  std::string name = {};
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::optional<int> colour = {};  // 0..5
  bool operator==(const AddPassage&) const = default;
};

struct ReplacePassage {
  PassageId id{};
  std::string name = {};
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::optional<int> colour = {};  // 0..5; nothing: as it is
  bool operator==(const ReplacePassage&) const = default;
};

struct RemovePassage {
  PassageId id{};
  bool operator==(const RemovePassage&) const = default;
};

// ---- Remarks ---------------------------------------------------------------------------------

/// A remark about a bar (any place in it), or about a note; `at_samples` is then the note's onset,
/// whatever is given. Confirms nothing. Refused without text.
struct AddRemark {
  std::int64_t at_samples = 0;
  std::optional<NoteId> note = {};
  std::string text = {};
  bool operator==(const AddRemark&) const = default;
};

struct ReplaceRemark {
  RemarkId id{};
  std::string text = {};
  bool operator==(const ReplaceRemark&) const = default;
};

struct RemoveRemark {
  RemarkId id{};
  bool operator==(const RemoveRemark&) const = default;
};

// ---- Analysis --------------------------------------------------------------------------------

/// What a new analysis says about [begin, end): replaces the proposals that begin there, and never
/// touches what is confirmed. Ids in the lists are ignored; an entry that says what a present
/// proposal says keeps its id. Make it with `proposals_edit` (proposals.hpp).
/// - A note that lies more than half in confirmed notes and gaps is left out; else it is cut.
/// - A beat close to a confirmed one, or between two confirmed neighbours, is left out.
/// - A beat's numbers count on from the confirmed beats and those before the stretch; where these
///   agree with the analysis, and where there are none, they are the analysis's own.
/// - Chords fill what is not confirmed.
/// - Facts are set where given (key and swing: where `sets_facts`), unless a person set them.
struct ReplaceProposals {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::vector<Note> notes = {};
  std::vector<Beat> beats = {};
  std::vector<ChordSpan> chords = {};
  bool sets_facts = false;
  std::optional<Key> key = {};             // nothing: none was found
  std::optional<double> swing_ratio = {};  // nothing: none was found
  std::optional<double> a4_hz = {};
  std::optional<int> beats_per_bar = {};
  std::optional<std::string> form = {};
  std::optional<Voice> voice = {};
  std::optional<std::string> analysis_version = {};
  bool operator==(const ReplaceProposals&) const = default;
};

// ---- Undo and groups -------------------------------------------------------------------------

/// The answer of `apply`: entries to take out, entries to put back as they were. Not made by hand.
struct Restore {
  std::string name = {};  // of the edit that it undoes
  std::vector<NoteId> drop_notes = {};
  std::vector<Note> put_notes = {};
  std::vector<BeatId> drop_beats = {};
  std::vector<Beat> put_beats = {};
  std::vector<ChordId> drop_chords = {};
  std::vector<ChordSpan> put_chords = {};
  std::vector<PassageId> drop_passages = {};
  std::vector<Passage> put_passages = {};
  std::vector<RemarkId> drop_remarks = {};
  std::vector<Remark> put_remarks = {};
  std::optional<std::vector<ConfirmedGap>> gaps = {};
  std::optional<std::vector<Stab>> stabs = {};
  std::optional<Take> facts = {};  // a take without lists: all its other fields
  bool operator==(const Restore&) const = default;
};

struct EditGroup;

using Edit = std::variant<AddNote, RemoveNote, ReplaceNote, SplitNote, JoinNotes, AddGap, RemoveGap,
                          Confirm, ConfirmStretch, MarkDoubtful, SetNeck, SetFingeringOptions,
                          PinPosition, SetArticulation, SetFingering, SetStabs, AddBeat, MoveBeat,
                          RemoveBeat, ReplaceBeats, BeatOne, SetMeter, SetChord, RemoveChord,
                          MoveChord, SetTuning, SetKey, SetTitle, SetComposer, SetForm,
                          SetRecording, AddPassage, ReplacePassage, RemovePassage, AddRemark,
                          ReplaceRemark, RemoveRemark, ReplaceProposals, Restore, EditGroup>;

/// Several edits as one step: all or nothing, one undo. Each sees what those before it did.
struct EditGroup {
  std::string name = {};  // shown in the history
  std::vector<Edit> edits = {};
  bool operator==(const EditGroup&) const = default;
};

/// Changes the take and returns the edit that undoes it: applying that gives back exactly the
/// former take, ids and `next_id` included, and returns the edit that does it again. On error
/// (invalid_argument: a value or place that makes no sense; not_found: no such entry; conflict:
/// confirmed work is in the way) the take is untouched. All rules about what may happen to a take
/// live here and nowhere else. Time: a few passes over the take (about 5 ms at 10,000 notes with
/// grid and chords). Call it as `take::apply`: unqualified, std::apply is a candidate too.
[[nodiscard]] Result<Edit> apply(Take& take, const Edit& edit);

/// What an edit does, in a few words for the history: "Set pitch", "Move beat".
[[nodiscard]] std::string describe(const Edit& edit);

}  // namespace lowstride::take
