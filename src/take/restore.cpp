#include <algorithm>
#include <cstdint>
#include <tuple>
#include <unordered_map>
#include <unordered_set>
#include <utility>
#include <vector>

#include "src/take/rules.hpp"

namespace lowstride::take::detail {
namespace {

// By what each list is sorted. Of all but passages and remarks no two entries begin together.
auto key(const Note& note) { return std::tuple(note.onset_samples); }
auto key(const Beat& beat) { return std::tuple(beat.time_samples); }
auto key(const ChordSpan& span) { return std::tuple(span.begin_samples); }
auto key(const Passage& passage) {
  return std::tuple(passage.begin_samples, passage.end_samples, passage.id);
}
auto key(const Remark& remark) { return std::tuple(remark.at_samples, remark.id); }

template <typename Id>
std::uint64_t number(Id id) {
  return static_cast<std::uint64_t>(id);
}

/// Fills `drop` and `put` with what turns `after` into `before`, which is used up.
template <typename Entry, typename Id>
void compare(const std::vector<Entry>& after, std::vector<Entry>& before, std::vector<Id>& drop,
             std::vector<Entry>& put) {
  // Most edits touch a few neighbours: what is equal at both ends is passed over first.
  const std::size_t shorter = std::min(after.size(), before.size());
  std::size_t head = 0;
  while (head < shorter && after[head] == before[head]) ++head;
  std::size_t tail = 0;
  while (tail < shorter - head &&
         after[after.size() - 1 - tail] == before[before.size() - 1 - tail]) {
    ++tail;
  }
  // The same entries in the same order: what differs is in them.
  if (std::ranges::equal(after, before, {}, &Entry::id, &Entry::id)) {
    for (std::size_t i = head; i < before.size() - tail; ++i) {
      if (!(after[i] == before[i])) put.push_back(std::move(before[i]));
    }
    return;
  }
  std::unordered_map<std::uint64_t, const Entry*> now;
  for (std::size_t i = head; i < after.size() - tail; ++i)
    now.emplace(number(after[i].id), &after[i]);
  std::unordered_set<std::uint64_t> kept;
  for (std::size_t i = head; i < before.size() - tail; ++i) {
    const auto found = now.find(number(before[i].id));
    if (found != now.end()) kept.insert(found->first);
    if (found == now.end() || !(*found->second == before[i])) put.push_back(std::move(before[i]));
  }
  for (std::size_t i = head; i < after.size() - tail; ++i) {
    if (!kept.contains(number(after[i].id))) drop.push_back(after[i].id);
  }
}

/// Puts back entries that are there already and stay in their places; false, and nothing has
/// happened, where there are others among them.
template <typename Entry>
bool restore_in_place(std::vector<Entry>& entries, const std::vector<Entry>& put) {
  std::vector<std::size_t> places;
  places.reserve(put.size());
  std::size_t i = 0;
  for (const Entry& entry : put) {
    while (i < entries.size() && entries[i].id != entry.id) ++i;
    if (i == entries.size() || key(entries[i]) != key(entry)) return false;
    places.push_back(i++);
  }
  for (std::size_t k = 0; k < put.size(); ++k) entries[places[k]] = put[k];
  return true;
}

template <typename Entry, typename Id>
Result<void> restore_list(std::vector<Entry>& entries, const std::vector<Id>& drop,
                          const std::vector<Entry>& put) {
  if (drop.empty() && (put.empty() || restore_in_place(entries, put))) return {};
  std::unordered_set<std::uint64_t> gone;
  for (const Id id : drop) gone.insert(number(id));
  const auto is_dropped = [&](const Entry& entry) { return gone.contains(number(entry.id)); };
  if (std::erase_if(entries, is_dropped) != drop.size()) {
    return fail(ErrorCode::not_found,
                "The step cannot be taken back: the take no longer holds what it changed.");
  }
  for (const Entry& entry : put) gone.insert(number(entry.id));
  std::erase_if(entries, is_dropped);
  entries.insert(entries.end(), put.begin(), put.end());
  std::stable_sort(entries.begin(), entries.end(),
                   [](const Entry& a, const Entry& b) { return key(a) < key(b); });
  return {};
}

struct Lists {
  std::vector<Note> notes;
  std::vector<ConfirmedGap> gaps;
  std::vector<Beat> beats;
  std::vector<ChordSpan> chords;
  std::vector<Passage> passages;
  std::vector<Remark> remarks;
  std::vector<Stab> stabs;
};

Lists take_out_lists(Take& take) {
  return {std::exchange(take.notes, {}),    std::exchange(take.gaps, {}),
          std::exchange(take.beats, {}),    std::exchange(take.chords, {}),
          std::exchange(take.passages, {}), std::exchange(take.remarks, {}),
          std::exchange(take.stabs, {})};
}

void put_in_lists(Take& take, Lists lists) {
  take.notes = std::move(lists.notes);
  take.gaps = std::move(lists.gaps);
  take.beats = std::move(lists.beats);
  take.chords = std::move(lists.chords);
  take.passages = std::move(lists.passages);
  take.remarks = std::move(lists.remarks);
  take.stabs = std::move(lists.stabs);
}

}  // namespace

Restore difference(Take& after, Take before) {
  Restore undo;
  compare(after.notes, before.notes, undo.drop_notes, undo.put_notes);
  compare(after.beats, before.beats, undo.drop_beats, undo.put_beats);
  compare(after.chords, before.chords, undo.drop_chords, undo.put_chords);
  compare(after.passages, before.passages, undo.drop_passages, undo.put_passages);
  compare(after.remarks, before.remarks, undo.drop_remarks, undo.put_remarks);
  if (after.gaps != before.gaps) undo.gaps = std::move(before.gaps);
  if (after.stabs != before.stabs) undo.stabs = std::move(before.stabs);
  // Without its lists a take is all its other fields, whichever are added one day.
  Lists lists = take_out_lists(after);
  static_cast<void>(take_out_lists(before));
  if (!(after == before)) undo.facts = std::move(before);
  put_in_lists(after, std::move(lists));
  return undo;
}

Result<void> change(Take& take, const Restore& edit) {
  if (edit.facts) {
    Lists lists = take_out_lists(take);
    take = *edit.facts;
    put_in_lists(take, std::move(lists));
  }
  if (edit.gaps) take.gaps = *edit.gaps;
  if (edit.stabs) take.stabs = *edit.stabs;
  return restore_list(take.notes, edit.drop_notes, edit.put_notes)
      .and_then([&] { return restore_list(take.beats, edit.drop_beats, edit.put_beats); })
      .and_then([&] { return restore_list(take.chords, edit.drop_chords, edit.put_chords); })
      .and_then([&] { return restore_list(take.passages, edit.drop_passages, edit.put_passages); })
      .and_then([&] { return restore_list(take.remarks, edit.drop_remarks, edit.put_remarks); });
}

}  // namespace lowstride::take::detail
