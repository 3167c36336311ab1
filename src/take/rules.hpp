#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

// The inside of `apply`: one `change` for each kind of edit. Each gets a draft, which `apply` drops
// on error, so that a rule may stop half-way. What the undo is follows from draft and former take.
namespace lowstride::take::detail {

/// Confidence of what a person said.
inline constexpr double certain = 1.0;

[[nodiscard]] Result<void> change(Take& take, const AddNote& edit);
[[nodiscard]] Result<void> change(Take& take, const RemoveNote& edit);
[[nodiscard]] Result<void> change(Take& take, const ReplaceNote& edit);
[[nodiscard]] Result<void> change(Take& take, const SplitNote& edit);
[[nodiscard]] Result<void> change(Take& take, const JoinNotes& edit);
[[nodiscard]] Result<void> change(Take& take, const AddGap& edit);
[[nodiscard]] Result<void> change(Take& take, const RemoveGap& edit);
[[nodiscard]] Result<void> change(Take& take, const Confirm& edit);
[[nodiscard]] Result<void> change(Take& take, const ConfirmStretch& edit);
[[nodiscard]] Result<void> change(Take& take, const MarkDoubtful& edit);
[[nodiscard]] Result<void> change(Take& take, const SetNeck& edit);
[[nodiscard]] Result<void> change(Take& take, const SetFingeringOptions& edit);
[[nodiscard]] Result<void> change(Take& take, const PinPosition& edit);
[[nodiscard]] Result<void> change(Take& take, const SetArticulation& edit);
[[nodiscard]] Result<void> change(Take& take, const SetFingering& edit);
[[nodiscard]] Result<void> change(Take& take, const SetStabs& edit);
[[nodiscard]] Result<void> change(Take& take, const AddBeat& edit);
[[nodiscard]] Result<void> change(Take& take, const MoveBeat& edit);
[[nodiscard]] Result<void> change(Take& take, const RemoveBeat& edit);
[[nodiscard]] Result<void> change(Take& take, const ReplaceBeats& edit);
[[nodiscard]] Result<void> change(Take& take, const BeatOne& edit);
[[nodiscard]] Result<void> change(Take& take, const SetMeter& edit);
[[nodiscard]] Result<void> change(Take& take, const SetChord& edit);
[[nodiscard]] Result<void> change(Take& take, const RemoveChord& edit);
[[nodiscard]] Result<void> change(Take& take, const MoveChord& edit);
[[nodiscard]] Result<void> change(Take& take, const SetTuning& edit);
[[nodiscard]] Result<void> change(Take& take, const SetKey& edit);
[[nodiscard]] Result<void> change(Take& take, const SetTitle& edit);
[[nodiscard]] Result<void> change(Take& take, const SetComposer& edit);
[[nodiscard]] Result<void> change(Take& take, const SetForm& edit);
[[nodiscard]] Result<void> change(Take& take, const SetRecording& edit);
[[nodiscard]] Result<void> change(Take& take, const AddPassage& edit);
[[nodiscard]] Result<void> change(Take& take, const ReplacePassage& edit);
[[nodiscard]] Result<void> change(Take& take, const RemovePassage& edit);
[[nodiscard]] Result<void> change(Take& take, const AddRemark& edit);
[[nodiscard]] Result<void> change(Take& take, const ReplaceRemark& edit);
[[nodiscard]] Result<void> change(Take& take, const RemoveRemark& edit);
[[nodiscard]] Result<void> change(Take& take, const ReplaceProposals& edit);
[[nodiscard]] Result<void> change(Take& take, const Restore& edit);

/// What turns `after` back into `before`. `after` is the same when it returns.
[[nodiscard]] Restore difference(Take& after, Take before);

/// Gives the next id of a kind.
template <typename Id>
[[nodiscard]] Id new_id(Take& take) {
  return Id{take.next_id++};
}

/// Where the entry with an id lies in its list, or nothing.
template <typename Entry, typename Id>
[[nodiscard]] std::optional<std::size_t> index_of(const std::vector<Entry>& entries, Id id) {
  const auto found =
      std::find_if(entries.begin(), entries.end(), [id](const Entry& e) { return e.id == id; });
  if (found == entries.end()) return std::nullopt;
  return static_cast<std::size_t>(found - entries.begin());
}

/// An entry stands by a person's word from now on.
template <typename Entry>
void confirm(Entry& entry) {
  entry.state = State::confirmed;
  entry.confidence = certain;
}

/// Error unless 0 <= begin < end <= length.
[[nodiscard]] Result<void> check_stretch(const Take& take, std::int64_t begin_samples,
                                         std::int64_t end_samples);

/// Error unless the text may stand in a take; `what` it is, for the sentence.
[[nodiscard]] Result<void> check_text(std::string_view text, std::string_view what);

/// A place for people in a message: "1:12.500", as seconds of the take.
[[nodiscard]] std::string place_text(const Take& take, std::int64_t samples);

/// Makes [begin, end) free of gaps, cutting those that reach out.
void clear_gaps(Take& take, std::int64_t begin_samples, std::int64_t end_samples);

/// Counts the numbers of beats on from `first`, whose own numbers stand. A pinned one is a one.
/// Once the count meets the number that a beat had before, those after it keep their places in
/// their bars (bars with a beat more or less stay) and only the numbers of bars go on.
void count_forward(std::vector<Beat>& beats, std::size_t first, int beats_per_bar);
/// The same backwards from `last`, whose own numbers stand, to the first beat.
void count_backward(std::vector<Beat>& beats, std::size_t last, int beats_per_bar,
                    bool is_met = false);
/// One step of count_forward; `is_met` goes from step to step and is false at the first.
void count_on(const Beat& before, Beat& beat, int beats_per_bar, bool& is_met);

}  // namespace lowstride::take::detail
