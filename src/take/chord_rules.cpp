#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {
namespace {

/// What is left of a chord that was cut to less than this goes to the chord that cut it: a change
/// set on a beat and one found a moment beside it are the same change.
constexpr double shortest_chord_seconds = 0.05;
constexpr std::size_t most_remembered = 6;

std::int64_t shortest_chord(const Take& take) {
  return std::llround(shortest_chord_seconds * static_cast<double>(take.time_base_hz));
}

tl::unexpected<Error> no_such_chord() {
  return fail(ErrorCode::not_found, "There is no such chord in the take any more; choose another.");
}

/// The chord that fills most of a stretch, or null.
const ChordSpan* most_present(const Take& take, std::int64_t begin, std::int64_t end) {
  const ChordSpan* best = nullptr;
  std::int64_t most = 0;
  for (const ChordSpan& span : take.chords) {
    const std::int64_t inside =
        std::min(span.end_samples, end) - std::max(span.begin_samples, begin);
    if (inside > most) {
      most = inside;
      best = &span;
    }
  }
  return best;
}

/// What was proposed for the stretch, first what stood there, without `chosen`.
std::vector<dsp::ChordCandidate> remembered(const ChordSpan& former,
                                            const dsp::ChordReading& chosen) {
  std::vector<dsp::ChordCandidate> candidates{{former.chord, former.confidence}};
  candidates.insert(candidates.end(), former.alternatives.begin(), former.alternatives.end());
  std::erase_if(candidates, [&](const auto& candidate) { return candidate.chord == chosen; });
  if (candidates.size() > most_remembered) candidates.resize(most_remembered);
  return candidates;
}

Result<void> check_chord(const dsp::ChordReading& chord) {
  const int root = chord.root_pc.value_or(0);
  if (root < 0 || root > 11 || chord.bass_pc < 0 || chord.bass_pc > 11 ||
      static_cast<std::size_t>(chord.quality) >= dsp::chord_quality_count) {
    return fail(ErrorCode::invalid_argument, "That chord does not exist.");
  }
  return {};
}

}  // namespace

Result<void> change(Take& take, const SetChord& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  if (auto outcome = check_chord(edit.chord); !outcome) return outcome;
  if (!is_plain_text(edit.written)) {
    return fail(ErrorCode::invalid_argument, "That chord name cannot be written in a take.");
  }
  ChordSpan fresh;
  fresh.begin_samples = edit.begin_samples;
  fresh.end_samples = edit.end_samples;
  if (edit.chord.root_pc) fresh.chord = edit.chord;
  fresh.written = edit.written;
  confirm(fresh);
  const std::int64_t shortest = shortest_chord(take);
  for (const ChordSpan& span : take.chords) {
    const std::int64_t before = fresh.begin_samples - span.begin_samples;
    const std::int64_t after = span.end_samples - fresh.end_samples;
    if (span.end_samples <= edit.begin_samples || span.begin_samples >= edit.end_samples) continue;
    if (before > 0 && before < shortest) fresh.begin_samples = span.begin_samples;
    if (after > 0 && after < shortest) fresh.end_samples = span.end_samples;
  }
  if (const ChordSpan* former = most_present(take, fresh.begin_samples, fresh.end_samples)) {
    fresh.alternatives = remembered(*former, fresh.chord);
  }
  std::vector<ChordSpan> chords;
  chords.reserve(take.chords.size() + 2);
  const auto insert_fresh = [&] {
    if (fresh.id == ChordId{}) fresh.id = new_id<ChordId>(take);
    chords.push_back(fresh);
  };
  bool is_inserted = false;
  for (const ChordSpan& span : take.chords) {
    if (!is_inserted && span.begin_samples >= fresh.begin_samples) {
      // A chord that began just here has got a new name and keeps its place in the world.
      if (span.begin_samples == fresh.begin_samples && span.end_samples <= fresh.end_samples) {
        fresh.id = span.id;
        fresh.unknown_fields_json = span.unknown_fields_json;
      }
      insert_fresh();
      is_inserted = true;
    }
    if (span.end_samples <= fresh.begin_samples || span.begin_samples >= fresh.end_samples) {
      chords.push_back(span);
      continue;
    }
    const bool has_left = span.begin_samples < fresh.begin_samples;
    if (has_left) {
      chords.push_back(span);
      chords.back().end_samples = fresh.begin_samples;
    }
    if (span.end_samples > fresh.end_samples) {
      ChordSpan rest = span;
      rest.begin_samples = fresh.end_samples;
      if (has_left) {
        rest.id = new_id<ChordId>(take);
        insert_fresh();
        is_inserted = true;
      }
      chords.push_back(std::move(rest));
    }
  }
  if (!is_inserted) insert_fresh();
  take.chords = std::move(chords);
  return {};
}

Result<void> change(Take& take, const RemoveChord& edit) {
  auto& chords = take.chords;
  const auto index = index_of(chords, edit.id);
  if (!index) return no_such_chord();
  ChordSpan& span = chords[*index];
  if (*index > 0) {
    chords[*index - 1].end_samples = span.end_samples;
    confirm(chords[*index - 1]);
  } else if (chords.size() > 1) {
    chords[1].begin_samples = span.begin_samples;
    confirm(chords[1]);
  } else {
    span.alternatives = remembered(span, {});
    span.chord = {};
    span.written.clear();
    confirm(span);
    return {};
  }
  chords.erase(chords.begin() + static_cast<std::ptrdiff_t>(*index));
  return {};
}

Result<void> change(Take& take, const MoveChord& edit) {
  auto& chords = take.chords;
  const auto index = index_of(chords, edit.id);
  if (!index) return no_such_chord();
  ChordSpan& span = chords[*index];
  ChordSpan* before = *index > 0 ? &chords[*index - 1] : nullptr;
  const std::int64_t shortest = shortest_chord(take);
  const std::int64_t earliest = before == nullptr ? 0 : before->begin_samples + shortest;
  if (edit.begin_samples < earliest || edit.begin_samples > span.end_samples - shortest) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A change of chord cannot be moved past its neighbours; {} is too far.",
                            place_text(take, edit.begin_samples)));
  }
  if (before != nullptr &&
      (before->end_samples == span.begin_samples || before->end_samples > edit.begin_samples)) {
    before->end_samples = edit.begin_samples;
    confirm(*before);
  }
  span.begin_samples = edit.begin_samples;
  confirm(span);
  return {};
}

}  // namespace lowstride::take::detail
