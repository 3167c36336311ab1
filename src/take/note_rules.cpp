#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "src/neck/named_necks.hpp"
#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {
namespace {

/// A confirmed note this close is the same note to a hand that points at it, and what is left of a
/// note that was cut to less is no note. Far below the 60 ms of a fast triplet.
constexpr double shortest_note_seconds = 0.02;
/// Alternatives that a note remembers, its own former pitches among them.
constexpr std::size_t most_remembered = 6;

std::int64_t shortest_note(const Take& take) {
  return std::llround(shortest_note_seconds * static_cast<double>(take.time_base_hz));
}

tl::unexpected<Error> no_such_note() {
  return fail(ErrorCode::not_found, "There is no such note in the take any more; choose another.");
}

/// Adds [begin, end) to the gaps, merging those that it overlaps or touches.
void add_gap(Take& take, std::int64_t begin, std::int64_t end) {
  ConfirmedGap gap{begin, end, {}};
  std::erase_if(take.gaps, [&](const ConfirmedGap& other) {
    if (other.end_samples < gap.begin_samples || other.begin_samples > gap.end_samples)
      return false;
    gap.begin_samples = std::min(gap.begin_samples, other.begin_samples);
    gap.end_samples = std::max(gap.end_samples, other.end_samples);
    if (gap.unknown_fields_json.empty()) gap.unknown_fields_json = other.unknown_fields_json;
    return true;
  });
  const auto after = std::find_if(
      take.gaps.begin(), take.gaps.end(),
      [&](const ConfirmedGap& other) { return other.begin_samples > gap.begin_samples; });
  take.gaps.insert(after, std::move(gap));
}

/// Puts a note that is not in the list among the others: see AddNote.
Result<void> place(Take& take, Note note) {
  if (auto outcome = check_stretch(take, note.onset_samples, note.offset_samples); !outcome) {
    return outcome;
  }
  const std::int64_t shortest = shortest_note(take);
  for (const Note& other : take.notes) {
    if (other.state != State::confirmed) continue;
    if (std::abs(other.onset_samples - note.onset_samples) < shortest) {
      return fail(ErrorCode::conflict,
                  fmt::format("A confirmed note begins at {} already; change or remove that one.",
                              place_text(take, other.onset_samples)));
    }
    if (other.onset_samples > note.onset_samples) {
      note.offset_samples = std::min(note.offset_samples, other.onset_samples);
    }
  }
  std::erase_if(take.notes, [&](Note& other) {
    if (other.onset_samples >= note.offset_samples || other.offset_samples <= note.onset_samples) {
      return false;
    }
    if (other.onset_samples >= note.onset_samples) return true;  // a proposal, by the loop above
    other.offset_samples = note.onset_samples;
    return other.state == State::proposed && other.offset_samples - other.onset_samples < shortest;
  });
  clear_gaps(take, note.onset_samples, note.offset_samples);
  const auto after = std::find_if(take.notes.begin(), take.notes.end(), [&](const Note& other) {
    return other.onset_samples > note.onset_samples;
  });
  take.notes.insert(after, std::move(note));
  return {};
}

void forget_impossible_position(const Take& take, Note& note) {
  if (note.position && !is_playable_at(take, note, *note.position)) {
    note.position.reset();
    note.is_position_pinned = false;
  }
}

void set_pitch(Note& note, int midi) {
  if (midi == note.midi) return;
  std::erase_if(note.alternatives, [&](const dsp::PitchCandidate& candidate) {
    return candidate.midi == midi || candidate.midi == note.midi;
  });
  note.alternatives.insert(note.alternatives.begin(), {note.midi, note.confidence});
  if (note.alternatives.size() > most_remembered) note.alternatives.resize(most_remembered);
  note.midi = midi;
}

Result<void> check_midi(int midi) {
  if (midi >= 0 && midi <= 127) return {};
  return fail(ErrorCode::invalid_argument,
              fmt::format("{} is not a pitch; give a MIDI number from 0 to 127.", midi));
}

template <typename Id>
class Finder {
 public:
  template <typename Entry>
  explicit Finder(const std::vector<Entry>& entries) {
    for (std::size_t i = 0; i < entries.size(); ++i) {
      places_.emplace(static_cast<std::uint64_t>(entries[i].id), i);
    }
  }
  [[nodiscard]] std::optional<std::size_t> find(Id id) const {
    const auto found = places_.find(static_cast<std::uint64_t>(id));
    if (found == places_.end()) return std::nullopt;
    return found->second;
  }

 private:
  std::unordered_map<std::uint64_t, std::size_t> places_;
};

/// Does `act` to each entry named; not_found when one is not there.
template <typename Entry, typename Id, typename Act>
Result<void> for_each_named(std::vector<Entry>& entries, const std::vector<Id>& ids, Act act) {
  if (ids.empty()) return {};
  const Finder<Id> finder(entries);
  for (const Id id : ids) {
    const auto index = finder.find(id);
    if (!index) {
      return fail(ErrorCode::not_found,
                  "One of the chosen entries is not in the take any more; choose again.");
    }
    act(entries[*index]);
  }
  return {};
}

}  // namespace

void clear_gaps(Take& take, std::int64_t begin_samples, std::int64_t end_samples) {
  std::vector<ConfirmedGap> left;
  left.reserve(take.gaps.size() + 1);
  for (const ConfirmedGap& gap : take.gaps) {
    if (gap.end_samples <= begin_samples || gap.begin_samples >= end_samples) {
      left.push_back(gap);
      continue;
    }
    if (gap.begin_samples < begin_samples) {
      left.push_back(gap);
      left.back().end_samples = begin_samples;
    }
    if (gap.end_samples > end_samples) {
      left.push_back(gap);
      left.back().begin_samples = end_samples;
    }
  }
  take.gaps = std::move(left);
}

Result<void> change(Take& take, const AddNote& edit) {
  if (auto outcome = check_midi(edit.midi); !outcome) return outcome;
  Note note;
  note.id = new_id<NoteId>(take);
  note.onset_samples = edit.onset_samples;
  note.offset_samples = edit.offset_samples;
  note.midi = edit.midi;
  note.acoustic_midi = edit.midi;
  note.is_dead = edit.is_dead;
  confirm(note);
  return place(take, std::move(note));
}

Result<void> change(Take& take, const RemoveNote& edit) {
  const auto index = index_of(take.notes, edit.id);
  if (!index) return no_such_note();
  const auto note = take.notes.begin() + static_cast<std::ptrdiff_t>(*index);
  const std::int64_t begin = note->onset_samples;
  const std::int64_t end = note->offset_samples;
  take.notes.erase(note);
  add_gap(take, begin, end);
  return {};
}

Result<void> change(Take& take, const ReplaceNote& edit) {
  const auto index = index_of(take.notes, edit.id);
  if (!index) return no_such_note();
  Note note = take.notes[*index];
  if (edit.midi) {
    if (auto outcome = check_midi(*edit.midi); !outcome) return outcome;
    set_pitch(note, *edit.midi);
  }
  note.is_dead = edit.is_dead.value_or(note.is_dead);
  confirm(note);
  forget_impossible_position(take, note);
  const std::int64_t former_onset = note.onset_samples;
  const std::int64_t former_offset = note.offset_samples;
  note.onset_samples = edit.onset_samples.value_or(former_onset);
  note.offset_samples = edit.offset_samples.value_or(former_offset);
  if (note.onset_samples == former_onset && note.offset_samples == former_offset) {
    take.notes[*index] = std::move(note);
    return {};
  }
  take.notes.erase(take.notes.begin() + static_cast<std::ptrdiff_t>(*index));
  // Taken elsewhere, it leaves a gap, or the next analysis would propose it again where it was.
  if (note.onset_samples >= former_offset || note.offset_samples <= former_onset) {
    add_gap(take, former_onset, former_offset);
  }
  return place(take, std::move(note));
}

Result<void> change(Take& take, const SplitNote& edit) {
  const auto index = index_of(take.notes, edit.id);
  if (!index) return no_such_note();
  Note& first = take.notes[*index];
  const std::int64_t shortest = shortest_note(take);
  if (edit.at_samples - first.onset_samples < shortest ||
      first.offset_samples - edit.at_samples < shortest) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The note cannot be split at {}; choose a place inside it.",
                            place_text(take, edit.at_samples)));
  }
  confirm(first);
  Note second = first;
  second.id = new_id<NoteId>(take);
  second.onset_samples = edit.at_samples;
  second.unknown_fields_json.clear();
  first.offset_samples = edit.at_samples;
  take.notes.insert(take.notes.begin() + static_cast<std::ptrdiff_t>(*index) + 1,
                    std::move(second));
  return {};
}

Result<void> change(Take& take, const JoinNotes& edit) {
  const auto index = index_of(take.notes, edit.first);
  if (!index) return no_such_note();
  if (*index + 1 >= take.notes.size()) {
    return fail(ErrorCode::not_found, "There is no note after this one to join it to.");
  }
  Note& first = take.notes[*index];
  first.offset_samples = take.notes[*index + 1].offset_samples;
  confirm(first);
  clear_gaps(take, first.onset_samples, first.offset_samples);
  take.notes.erase(take.notes.begin() + static_cast<std::ptrdiff_t>(*index) + 1);
  return {};
}

Result<void> change(Take& take, const AddGap& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  const std::int64_t shortest = shortest_note(take);
  std::erase_if(take.notes, [&](Note& note) {
    if (note.offset_samples <= edit.begin_samples || note.onset_samples >= edit.end_samples) {
      return false;
    }
    if (note.onset_samples >= edit.begin_samples) return true;
    note.offset_samples = edit.begin_samples;
    return note.offset_samples - note.onset_samples < shortest;
  });
  add_gap(take, edit.begin_samples, edit.end_samples);
  return {};
}

Result<void> change(Take& take, const RemoveGap& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  clear_gaps(take, edit.begin_samples, edit.end_samples);
  return {};
}

Result<void> change(Take& take, const Confirm& edit) {
  if (edit.key && !take.key) {
    return fail(ErrorCode::not_found, "There is no key to confirm; set one.");
  }
  if (edit.tuning) take.tuning_state = State::confirmed;
  if (edit.meter) take.meter_state = State::confirmed;
  if (edit.key) confirm(*take.key);
  const auto act = [](auto& entry) { confirm(entry); };
  return for_each_named(take.notes, edit.notes, act)
      .and_then([&] { return for_each_named(take.beats, edit.beats, act); })
      .and_then([&] { return for_each_named(take.chords, edit.chords, act); });
}

Result<void> change(Take& take, const ConfirmStretch& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  const bool is_to_the_end = edit.end_samples == take.length_samples;
  const auto holds = [&](std::int64_t sample) {
    return sample >= edit.begin_samples && (is_to_the_end || sample < edit.end_samples);
  };
  for (Note& note : take.notes) {
    if (holds(note.onset_samples)) confirm(note);
  }
  for (Beat& beat : take.beats) {
    if (holds(beat.time_samples)) confirm(beat);
  }
  for (ChordSpan& span : take.chords) {
    const std::int64_t inside = std::min(span.end_samples, edit.end_samples) -
                                std::max(span.begin_samples, edit.begin_samples);
    if (2 * inside > span.end_samples - span.begin_samples) confirm(span);
  }
  return {};
}

Result<void> change(Take& take, const MarkDoubtful& edit) {
  const auto act = [](auto& entry) {
    entry.state = State::proposed;
    entry.confidence = std::min(entry.confidence, 0.5);
  };
  return for_each_named(take.notes, edit.notes, act)
      .and_then([&] {
        return for_each_named(take.beats, edit.beats, [&](Beat& beat) {
          act(beat);
          beat.is_pinned_one = false;
        });
      })
      .and_then([&] { return for_each_named(take.chords, edit.chords, act); });
}

Result<void> change(Take& take, const SetNeck& edit) {
  const bool has_other_strings =
      take.neck.open_midi != edit.neck.open_midi || take.neck.capo != edit.neck.capo;
  const bool is_off_neck =
      std::any_of(take.stabs.begin(), take.stabs.end(),
                  [&edit](const Stab& stab) { return !is_stab_on_neck(edit.neck, stab); });
  if (has_other_strings || is_off_neck) take.stabs.clear();
  take.neck = edit.neck;
  if (!neck::check_options(take.neck, take.fingering)) take.fingering = {};
  take.octave_shift = edit.octave_shift;
  for (Note& note : take.notes) forget_impossible_position(take, note);
  return {};
}

Result<void> change(Take& take, const SetFingeringOptions& edit) {
  if (auto outcome = neck::check_options(take.neck, edit.options); !outcome) return outcome;
  take.fingering = edit.options;
  return {};
}

Result<void> change(Take& take, const PinPosition& edit) {
  const auto index = index_of(take.notes, edit.id);
  if (!index) return no_such_note();
  Note& note = take.notes[*index];
  const auto strings = static_cast<int>(take.neck.open_midi.size());
  if (edit.position &&
      (edit.position->string_number < 1 || edit.position->string_number > strings)) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format("There is no string {} on the neck '{}'; its strings are 1 (the highest) "
                    "to {}.",
                    edit.position->string_number, take.neck.name, strings));
  }
  if (edit.position && !is_playable_at(take, note, *edit.position)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("String {}, fret {} does not give this note on the neck '{}'; set its "
                            "pitch too, or choose another string.",
                            edit.position->string_number, edit.position->fret, take.neck.name));
  }
  if (edit.position) {
    note.position = edit.position;
    confirm(note);
  }
  note.is_position_pinned = edit.position.has_value();
  return {};
}

Result<void> change(Take& take, const SetArticulation& edit) {
  const auto index = index_of(take.notes, edit.id);
  if (!index) return no_such_note();
  if (edit.articulation != neck::Articulation::plucked && *index == 0) {
    return fail(ErrorCode::invalid_argument,
                "The first note has none before it to be hammered or slid from; pluck it.");
  }
  take.notes[*index].articulation = edit.articulation;
  confirm(take.notes[*index]);
  return {};
}

Result<void> change(Take& take, const SetFingering& edit) {
  const Finder<NoteId> finder(take.notes);
  for (const PlacedNote& placed : edit.notes) {
    const auto index = finder.find(placed.id);
    if (!index) return no_such_note();
    Note& note = take.notes[*index];
    if (note.is_position_pinned) continue;
    if (placed.position && !is_playable_at(take, note, *placed.position)) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("A fingering was made for another neck or line: string {}, fret {} "
                              "is not the note at {}; finger the take again.",
                              placed.position->string_number, placed.position->fret,
                              place_text(take, note.onset_samples)));
    }
    note.position = placed.position;
  }
  return {};
}

}  // namespace lowstride::take::detail
