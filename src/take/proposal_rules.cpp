#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <iterator>

#include "src/take/rules.hpp"
#include "src/take/time_text.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {
namespace {

/// What is left of a proposal beside confirmed entries is dropped when it is shorter than this.
constexpr double shortest_note_seconds = 0.02;
constexpr double shortest_chord_seconds = 0.05;
/// An entry that moved by no more than this between two analyses is the same entry.
constexpr double same_entry_seconds = 0.03;
/// Share of the beat within which a proposed beat is the confirmed one beside it. Half would drop
/// true beats where the tempo moves; a quarter would leave doubles.
constexpr double same_beat_share = 0.35;

std::int64_t in_samples(const Take& take, double seconds) {
  return std::llround(seconds * static_cast<double>(take.time_base_hz));
}

/// Stretches that a person decided, in order of time and apart from each other.
std::vector<Stretch> decided_stretches(const Take& take) {
  std::vector<Stretch> decided;
  for (const Note& note : take.notes) {
    if (note.state == State::confirmed)
      decided.push_back({note.onset_samples, note.offset_samples});
  }
  for (const ConfirmedGap& gap : take.gaps) decided.push_back({gap.begin_samples, gap.end_samples});
  std::sort(decided.begin(), decided.end(),
            [](const Stretch& a, const Stretch& b) { return a.begin_samples < b.begin_samples; });
  return decided;
}

/// Cuts a proposal to what lies outside `decided`; false when most of it lies inside.
bool fit_between(Note& note, const std::vector<Stretch>& decided) {
  auto span = std::partition_point(decided.begin(), decided.end(), [&](const Stretch& stretch) {
    return stretch.end_samples <= note.onset_samples;
  });
  const std::int64_t length = note.offset_samples - note.onset_samples;
  std::int64_t covered = 0;
  std::int64_t onset = note.onset_samples;
  std::int64_t offset = note.offset_samples;
  for (; span != decided.end() && span->begin_samples < note.offset_samples; ++span) {
    covered += std::min(span->end_samples, note.offset_samples) -
               std::max(span->begin_samples, note.onset_samples);
    if (span->begin_samples <= onset) {
      onset = std::max(onset, span->end_samples);
    } else {
      offset = std::min(offset, span->begin_samples);
    }
  }
  note.onset_samples = onset;
  note.offset_samples = offset;
  return 2 * covered <= length;
}

/// Gives each fresh entry the id of the present proposal that says the same, or a new one.
/// `is_same(fresh, old)` and `inherit(fresh, old)`; both lists are in order of time.
template <typename Id, typename Entry, typename IsSame, typename Inherit, typename Time>
void give_ids(Take& take, std::vector<Entry>& fresh, const std::vector<Entry>& old, Time time,
              IsSame is_same, Inherit inherit) {
  const std::int64_t reach = in_samples(take, same_entry_seconds);
  auto next = old.begin();
  for (Entry& entry : fresh) {
    while (next != old.end() && time(*next) < time(entry) - reach) ++next;
    auto match = next;
    while (match != old.end() && time(*match) <= time(entry) + reach && !is_same(entry, *match)) {
      ++match;
    }
    if (match != old.end() && time(*match) <= time(entry) + reach) {
      entry.id = match->id;
      entry.unknown_fields_json = match->unknown_fields_json;
      inherit(entry, *match);
      next = std::next(match);
    } else {
      entry.id = new_id<Id>(take);
      entry.unknown_fields_json.clear();
    }
  }
}

void replace_notes(Take& take, const ReplaceProposals& edit) {
  const auto is_replaced = [&](const Note& note) {
    return note.state == State::proposed && note.onset_samples >= edit.begin_samples &&
           note.onset_samples < edit.end_samples;
  };
  const auto decided = decided_stretches(take);
  std::vector<Note> old;
  std::vector<Note> kept;
  for (Note& note : take.notes) (is_replaced(note) ? old : kept).push_back(std::move(note));
  const auto after = std::find_if(kept.begin(), kept.end(), [&](const Note& note) {
    return note.onset_samples >= edit.end_samples;
  });
  const std::int64_t limit = after == kept.end() ? take.length_samples : after->onset_samples;

  std::vector<Note> proposals = edit.notes;
  std::stable_sort(proposals.begin(), proposals.end(),
                   [](const Note& a, const Note& b) { return a.onset_samples < b.onset_samples; });
  const std::int64_t shortest = in_samples(take, shortest_note_seconds);
  std::vector<Note> fresh;
  for (Note& note : proposals) {
    if (note.onset_samples < edit.begin_samples || note.onset_samples >= edit.end_samples) continue;
    if (!fit_between(note, decided)) continue;
    note.offset_samples = std::min(note.offset_samples, limit);
    if (!fresh.empty() && fresh.back().offset_samples > note.onset_samples) {
      fresh.back().offset_samples = note.onset_samples;
      if (fresh.back().offset_samples - fresh.back().onset_samples < shortest) fresh.pop_back();
    }
    if (note.offset_samples - note.onset_samples < shortest) continue;
    note.state = State::proposed;
    note.is_position_pinned = false;
    fresh.push_back(std::move(note));
  }
  give_ids<NoteId>(
      take, fresh, old, [](const Note& note) { return note.onset_samples; },
      [](const Note& a, const Note& b) { return a.midi == b.midi && a.is_dead == b.is_dead; },
      [&](Note& note, const Note& former) {
        if (!note.position) note.position = former.position;
      });
  for (Note& note : fresh) {
    if (note.position && !is_playable_at(take, note, *note.position)) note.position.reset();
  }
  // A proposal that rings into the stretch ends where the new ones begin.
  for (Note& note : kept) {
    if (fresh.empty() || note.onset_samples >= edit.begin_samples) break;
    if (note.state == State::proposed && note.offset_samples > fresh.front().onset_samples) {
      note.offset_samples = fresh.front().onset_samples;
    }
  }
  take.notes.clear();
  std::merge(kept.begin(), kept.end(), fresh.begin(), fresh.end(), std::back_inserter(take.notes),
             [](const Note& a, const Note& b) { return a.onset_samples < b.onset_samples; });
}

/// Half the way to the neighbours would be 0.5; the beat's length is the median of the proposals.
std::int64_t same_beat_reach(const std::vector<Beat>& beats) {
  std::vector<std::int64_t> intervals;
  for (std::size_t i = 1; i < beats.size(); ++i) {
    intervals.push_back(beats[i].time_samples - beats[i - 1].time_samples);
  }
  if (intervals.empty()) return 0;
  const auto middle = intervals.begin() + static_cast<std::ptrdiff_t>(intervals.size() / 2);
  std::nth_element(intervals.begin(), middle, intervals.end());
  return std::llround(same_beat_share * static_cast<double>(*middle));
}

/// Whether a beat may be proposed at `time` beside those that a person left standing.
bool is_free_for_beat(const std::vector<Beat>& confirmed, const std::vector<Beat>& before,
                      std::int64_t time, std::int64_t reach) {
  const auto at = [](const Beat& beat, std::int64_t t) { return beat.time_samples < t; };
  const auto next = std::lower_bound(confirmed.begin(), confirmed.end(), time, at);
  if (next != confirmed.end() && next->time_samples - time <= reach) return false;
  if (next == confirmed.begin()) return true;
  const Beat& last = *std::prev(next);
  if (time - last.time_samples <= reach) return false;
  if (next == confirmed.end()) return true;
  // Two confirmed neighbours with nothing between them: a person wants nothing between them.
  const auto following =
      std::upper_bound(before.begin(), before.end(), last.time_samples,
                       [](std::int64_t t, const Beat& beat) { return t < beat.time_samples; });
  return following->id != next->id;
}

/// Numbers what was proposed by what stands. Where the analysis sees the bars as the person does,
/// its own numbers are taken, bars with a beat more or less among them.
void number_beats(std::vector<Beat>& beats, const std::vector<Beat>& proposals, std::int64_t reach,
                  const ReplaceProposals& edit, int beats_per_bar) {
  const auto stands = [&](const Beat& beat) {
    return beat.state == State::confirmed || beat.time_samples < edit.begin_samples;
  };
  auto first = std::find_if(beats.begin(), beats.end(), stands);
  if (first == beats.end()) {
    first = std::find_if(beats.begin(), beats.end(),
                         [&](const Beat& beat) { return beat.time_samples >= edit.end_samples; });
  }
  if (first == beats.end()) return;
  /// Whether the analysis gave the standing beat the number that it has.
  const auto is_agreed = [&](const Beat& beat) {
    return std::any_of(proposals.begin(), proposals.end(), [&](const Beat& proposal) {
      return std::abs(proposal.time_samples - beat.time_samples) <= reach &&
             proposal.beat == beat.beat;
    });
  };
  const auto anchor = static_cast<std::size_t>(first - beats.begin());
  count_backward(beats, anchor, beats_per_bar, is_agreed(beats[anchor]));
  bool is_met = false;
  for (std::size_t i = anchor + 1; i < beats.size(); ++i) {
    if (stands(beats[i])) continue;
    const Beat& before = beats[i - 1];
    if (stands(before)) is_met = is_agreed(before);
    const bool leaves_stretch =
        before.time_samples < edit.end_samples && beats[i].time_samples >= edit.end_samples;
    if (leaves_stretch) is_met = false;
    count_on(before, beats[i], beats_per_bar, is_met);
  }
}

void replace_beats(Take& take, const ReplaceProposals& edit) {
  const std::vector<Beat> before = std::exchange(take.beats, {});
  std::vector<Beat> old;
  std::vector<Beat> kept;
  std::vector<Beat> confirmed;
  for (const Beat& beat : before) {
    const bool is_replaced = beat.state == State::proposed &&
                             beat.time_samples >= edit.begin_samples &&
                             beat.time_samples < edit.end_samples;
    (is_replaced ? old : kept).push_back(beat);
    if (beat.state == State::confirmed) confirmed.push_back(beat);
  }
  std::vector<Beat> proposals = edit.beats;
  const auto earlier = [](const Beat& a, const Beat& b) { return a.time_samples < b.time_samples; };
  std::stable_sort(proposals.begin(), proposals.end(), earlier);
  const std::int64_t reach = same_beat_reach(proposals);
  std::vector<Beat> fresh;
  for (Beat& beat : proposals) {
    if (beat.time_samples < edit.begin_samples || beat.time_samples >= edit.end_samples ||
        (!fresh.empty() && fresh.back().time_samples == beat.time_samples) ||
        !is_free_for_beat(confirmed, before, beat.time_samples, reach)) {
      continue;
    }
    beat.state = State::proposed;
    beat.is_pinned_one = false;
    fresh.push_back(std::move(beat));
  }
  give_ids<BeatId>(
      take, fresh, old, [](const Beat& beat) { return beat.time_samples; },
      [](const Beat&, const Beat&) { return true; }, [](Beat&, const Beat&) {});
  std::merge(kept.begin(), kept.end(), fresh.begin(), fresh.end(), std::back_inserter(take.beats),
             earlier);
  // Beats outside the stretch that the new ones come too close to stay: they are further on.
  if (!kept.empty()) number_beats(take.beats, edit.beats, reach, edit, take.beats_per_bar);
}

/// The parts of [begin, end) in which no chord is confirmed.
std::vector<Stretch> free_for_chords(const Take& take, std::int64_t begin, std::int64_t end) {
  std::vector<Stretch> free;
  for (const ChordSpan& span : take.chords) {
    if (span.state != State::confirmed || span.end_samples <= begin) continue;
    if (span.begin_samples >= end) break;
    if (span.begin_samples > begin) free.push_back({begin, span.begin_samples});
    begin = span.end_samples;
  }
  if (begin < end) free.push_back({begin, end});
  return free;
}

/// The proposed chords of one free stretch, cut to it. What would be a sliver goes to its
/// neighbour.
void fill(const Stretch& stretch, const std::vector<ChordSpan>& proposals, std::int64_t shortest,
          std::vector<ChordSpan>& fresh) {
  std::int64_t taken_until = stretch.begin_samples;
  bool follows_one = false;
  for (const ChordSpan& proposal : proposals) {
    ChordSpan span = proposal;
    span.begin_samples = std::max(span.begin_samples, taken_until);
    span.end_samples = std::min(span.end_samples, stretch.end_samples);
    if (span.end_samples <= span.begin_samples) continue;
    if (follows_one && span.end_samples - span.begin_samples < shortest &&
        fresh.back().end_samples == span.begin_samples) {
      fresh.back().end_samples = span.end_samples;
      taken_until = span.end_samples;
      continue;
    }
    if (follows_one && fresh.back().end_samples - fresh.back().begin_samples < shortest &&
        fresh.back().end_samples == span.begin_samples) {
      span.begin_samples = fresh.back().begin_samples;
      fresh.pop_back();
    }
    taken_until = span.end_samples;
    span.state = State::proposed;
    fresh.push_back(std::move(span));
    follows_one = true;
  }
}

bool goes_on(const ChordSpan& left, const ChordSpan& right) {
  return left.end_samples == right.begin_samples && left.state == State::proposed &&
         right.state == State::proposed && left.chord == right.chord &&
         left.is_implied == right.is_implied;
}

/// A chord that was cut where the stretch begins or ends, and is proposed there again, is one chord
/// as before.
void join_at_cuts(std::vector<ChordSpan>& chords, std::vector<ChordSpan>& fresh,
                  const ReplaceProposals& edit) {
  auto left = std::ranges::find(chords, edit.begin_samples, &ChordSpan::end_samples);
  auto right = std::ranges::find(chords, edit.end_samples, &ChordSpan::begin_samples);
  if (left != chords.end() && !fresh.empty() && goes_on(*left, fresh.front())) {
    left->end_samples = fresh.front().end_samples;
    fresh.erase(fresh.begin());
  }
  if (right != chords.end() && !fresh.empty() && goes_on(fresh.back(), *right)) {
    right->begin_samples = fresh.back().begin_samples;
    fresh.pop_back();
  }
  if (left != chords.end() && right != chords.end() && goes_on(*left, *right)) {
    left->end_samples = right->end_samples;
    chords.erase(right);
  }
}

void replace_chords(Take& take, const ReplaceProposals& edit) {
  const auto free = free_for_chords(take, edit.begin_samples, edit.end_samples);
  std::vector<ChordSpan> old;
  std::vector<ChordSpan> chords;
  for (const ChordSpan& span : take.chords) {
    if (span.state == State::confirmed || span.end_samples <= edit.begin_samples ||
        span.begin_samples >= edit.end_samples) {
      chords.push_back(span);
      continue;
    }
    const bool has_left = span.begin_samples < edit.begin_samples;
    if (has_left) {
      chords.push_back(span);
      chords.back().end_samples = edit.begin_samples;
    } else if (span.end_samples <= edit.end_samples) {
      old.push_back(span);
    }
    if (span.end_samples > edit.end_samples) {
      chords.push_back(span);
      chords.back().begin_samples = edit.end_samples;
      if (has_left) chords.back().id = {};
    }
  }
  std::vector<ChordSpan> proposals = edit.chords;
  const auto earlier = [](const ChordSpan& a, const ChordSpan& b) {
    return a.begin_samples < b.begin_samples;
  };
  std::stable_sort(proposals.begin(), proposals.end(), earlier);
  std::vector<ChordSpan> fresh;
  const std::int64_t shortest = in_samples(take, shortest_chord_seconds);
  for (const Stretch& stretch : free) fill(stretch, proposals, shortest, fresh);
  join_at_cuts(chords, fresh, edit);
  for (ChordSpan& span : chords) {
    if (span.id == ChordId{}) span.id = new_id<ChordId>(take);
  }
  give_ids<ChordId>(
      take, fresh, old, [](const ChordSpan& span) { return span.begin_samples; },
      [](const ChordSpan& a, const ChordSpan& b) { return a.chord == b.chord; },
      [](ChordSpan&, const ChordSpan&) {});
  take.chords.clear();
  std::merge(chords.begin(), chords.end(), fresh.begin(), fresh.end(),
             std::back_inserter(take.chords), earlier);
}

void replace_facts(Take& take, const ReplaceProposals& edit) {
  if (edit.a4_hz && take.tuning_state == State::proposed) take.a4_hz = *edit.a4_hz;
  if (edit.beats_per_bar && take.meter_state == State::proposed) {
    take.beats_per_bar = *edit.beats_per_bar;
  }
  if (edit.sets_facts) {
    take.swing_ratio = edit.swing_ratio;
    if (!take.key || take.key->state == State::proposed) {
      take.key = edit.key;
      if (take.key) take.key->state = State::proposed;
    }
  }
  if (edit.form && take.form_state == State::proposed) take.form = *edit.form;
  if (edit.voice) take.voice = *edit.voice;
  if (edit.analysis_version) take.analysis_version = *edit.analysis_version;
}

}  // namespace

Result<void> change(Take& take, const ReplaceProposals& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  replace_facts(take, edit);
  replace_notes(take, edit);
  replace_beats(take, edit);
  replace_chords(take, edit);
  return {};
}

}  // namespace lowstride::take::detail
