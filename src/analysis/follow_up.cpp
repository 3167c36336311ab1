#include "src/analysis/follow_up.hpp"

#include <algorithm>
#include <iterator>
#include <optional>
#include <utility>
#include <vector>

#include "src/analysis/fingering_edit.hpp"
#include "src/analysis/rereading.hpp"

namespace lowstride::analysis {
namespace {

bool is_same_line(const take::Take& a, const take::Take& b) {
  return std::equal(a.notes.begin(), a.notes.end(), b.notes.begin(), b.notes.end(),
                    [](const take::Note& one, const take::Note& other) {
                      return one.id == other.id && one.midi == other.midi &&
                             one.onset_samples == other.onset_samples &&
                             one.is_dead == other.is_dead && one.articulation == other.articulation;
                    });
}

/// Widens `touched` from the first to the last place where two lists of entries, both in order of
/// time, differ.
template <typename Entry, typename Begin, typename End>
void widen_by_changes(const std::vector<Entry>& before, const std::vector<Entry>& after,
                      Begin begin_of, End end_of, std::optional<take::Stretch>& touched) {
  const auto widen = [&](const Entry& entry) {
    if (!touched) touched = take::Stretch{begin_of(entry), end_of(entry)};
    touched->begin_samples = std::min(touched->begin_samples, begin_of(entry));
    touched->end_samples = std::max(touched->end_samples, end_of(entry));
  };
  const auto [first_before, first_after] =
      std::mismatch(before.begin(), before.end(), after.begin(), after.end());
  const auto [last_before, last_after] =
      std::mismatch(before.rbegin(), std::make_reverse_iterator(first_before), after.rbegin(),
                    std::make_reverse_iterator(first_after));
  std::for_each(first_before, last_before.base(), widen);
  std::for_each(first_after, last_after.base(), widen);
}

struct Touched {
  std::optional<take::Stretch> stretch;
  bool are_beats_touched = false;
};

/// Where a person's edit changed notes, chords or beats (confirming what is there changes nothing
/// that could be read otherwise elsewhere).
Touched touched_by(take::Take before, take::Take after) {
  // What an edit confirms is no change of what was played.
  const auto forget_states = [](take::Take& take) {
    for (auto& note : take.notes) {
      note.state = take::State::proposed;
      note.confidence = 0.0;
      note.octave_margin = 1.0;
      note.position.reset();
      note.alternatives.clear();
    }
    for (auto& beat : take.beats) {
      beat.state = take::State::proposed;
      beat.confidence = 0.0;
    }
    for (auto& chord : take.chords) {
      chord.state = take::State::proposed;
      chord.confidence = 0.0;
      chord.alternatives.clear();
      chord.is_implied = false;
    }
  };
  forget_states(before);
  forget_states(after);
  Touched touched;
  const auto beat_time = [](const take::Beat& beat) { return beat.time_samples; };
  widen_by_changes(before.beats, after.beats, beat_time, beat_time, touched.stretch);
  touched.are_beats_touched = touched.stretch.has_value();
  widen_by_changes(
      before.notes, after.notes, [](const take::Note& note) { return note.onset_samples; },
      [](const take::Note& note) { return note.offset_samples; }, touched.stretch);
  widen_by_changes(
      before.chords, after.chords, [](const take::ChordSpan& chord) { return chord.begin_samples; },
      [](const take::ChordSpan& chord) { return chord.end_samples; }, touched.stretch);
  return touched;
}

/// Appends an edit to the group and applies it to `after`.
Result<void> add_step(take::EditGroup& group, take::Take& after, take::Edit edit) {
  const auto done = take::apply(after, edit);
  if (!done) return tl::unexpected(done.error());
  group.edits.push_back(std::move(edit));
  return {};
}

}  // namespace

Result<take::EditGroup> follow_up(const take::Take& before, const take::Take& after,
                                  const dsp::Evidence* evidence) {
  take::EditGroup group;
  take::Take line = after;
  const Touched touched = touched_by(before, after);
  if (touched.stretch && evidence != nullptr) {
    auto reread = rereading_edit(after, *evidence, *touched.stretch, touched.are_beats_touched);
    if (reread) {
      if (const auto done = add_step(group, line, std::move(*reread)); !done) {
        return tl::unexpected(done.error());
      }
    }
  }
  if (!is_same_line(before, line)) {
    auto fingering = fingering_edit(line, after.octave_shift);
    if (!fingering) return tl::unexpected(fingering.error());
    group.edits.push_back(std::move(*fingering));
  }
  return group;
}

}  // namespace lowstride::analysis
