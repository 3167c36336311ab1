#include "gui/gesture/grid_edits.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>

#include <fmt/format.h>

#include "gui/layout/digest.hpp"
#include "gui/model/desk_state.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::desk {
namespace {

using take::Edit;

take::Stretch whole(const take::Take& take) { return {0, take.length_samples}; }

std::vector<std::int64_t> beat_times(const take::Take& take, const take::Stretch& stretch) {
  std::vector<std::int64_t> times;
  for (const take::Beat& beat : take.beats) {
    if (beat.time_samples >= stretch.begin_samples && beat.time_samples < stretch.end_samples) {
      times.push_back(beat.time_samples);
    }
  }
  return times;
}

tl::unexpected<Error> no_chord() {
  return fail(ErrorCode::invalid_argument, "Select a chord first.");
}

take::SetChord over(const take::ChordSpan& span) {
  take::SetChord edit;
  edit.begin_samples = span.begin_samples;
  edit.end_samples = span.end_samples;
  return edit;
}

bool begins_with(std::string_view text, std::string_view start) {
  if (text.size() < start.size()) return false;
  return std::equal(start.begin(), start.end(), text.begin(), [](char a, char b) {
    return std::tolower(static_cast<unsigned char>(a)) ==
           std::tolower(static_cast<unsigned char>(b));
  });
}

}  // namespace

Result<Edit> tapped_beats(const take::Take& take, std::span<const std::int64_t> taps_samples) {
  if (taps_samples.size() < 3) {
    return fail(ErrorCode::invalid_argument, "Tap at least three beats.");
  }
  std::vector<std::int64_t> taps(taps_samples.begin(), taps_samples.end());
  std::ranges::sort(taps);
  std::vector<std::int64_t> times = taps;
  for (std::size_t i = 1; i + 1 < taps.size(); ++i) {
    const double between = static_cast<double>(taps[i - 1] + taps[i + 1]) / 2.0;
    times[i] = std::llround((static_cast<double>(taps[i]) + between) / 2.0);
  }
  times.erase(std::unique(times.begin(), times.end()), times.end());
  const std::int64_t half =
      (times.back() - times.front()) /
      (2 * static_cast<std::int64_t>(std::max<std::size_t>(1, times.size() - 1)));
  take::ReplaceBeats edit;
  edit.begin_samples = std::max<std::int64_t>(0, times.front() - half);
  edit.end_samples = std::min(take.length_samples, times.back() + half + 1);
  edit.times_samples = std::move(times);
  return Edit{std::move(edit)};
}

Result<Edit> double_beats(const take::Take& take, std::optional<take::Stretch> stretch) {
  const take::Stretch where = stretch.value_or(whole(take));
  const std::vector<std::int64_t> times = beat_times(take, where);
  if (times.size() < 2) return fail(ErrorCode::invalid_argument, "There are no beats to double.");
  take::ReplaceBeats edit{where.begin_samples, where.end_samples, {}};
  for (std::size_t i = 0; i < times.size(); ++i) {
    edit.times_samples.push_back(times[i]);
    const std::int64_t next = i + 1 < times.size() ? times[i + 1] : 2 * times[i] - times[i - 1];
    const std::int64_t between = (times[i] + next) / 2;
    if (between < where.end_samples) edit.times_samples.push_back(between);
  }
  return Edit{std::move(edit)};
}

Result<Edit> halve_beats(const take::Take& take, std::optional<take::Stretch> stretch) {
  const take::Stretch where = stretch.value_or(whole(take));
  const std::vector<std::int64_t> times = beat_times(take, where);
  if (times.size() < 4) return fail(ErrorCode::invalid_argument, "There are no beats to halve.");
  // Ones stay.
  std::size_t first = 0;
  for (const take::Beat& beat : take.beats) {
    if (beat.time_samples < where.begin_samples || beat.beat != 1) continue;
    const auto at = std::ranges::find(times, beat.time_samples);
    first = static_cast<std::size_t>(at - times.begin()) % 2;
    break;
  }
  take::ReplaceBeats edit{where.begin_samples, where.end_samples, {}};
  for (std::size_t i = first; i < times.size(); i += 2) edit.times_samples.push_back(times[i]);
  return Edit{std::move(edit)};
}

Result<Edit> set_chord_label(const take::Take& take, take::ChordId id, std::string_view text) {
  const auto index = index_of(take, id);
  if (!index) return no_chord();
  const auto parsed = theory::parse_chord(text);
  if (!parsed) return tl::unexpected(parsed.error());
  take::SetChord edit = over(take.chords[*index]);
  edit.chord = parsed->chord;
  if (!parsed->is_exact) edit.written = std::string(text);
  return Edit{std::move(edit)};
}

Result<Edit> add_chord(const take::Take& take, std::int64_t at_samples, std::string_view text) {
  const auto parsed = theory::parse_chord(text);
  if (!parsed) return tl::unexpected(parsed.error());
  take::SetChord edit;
  edit.begin_samples = std::clamp<std::int64_t>(at_samples, 0, take.length_samples);
  edit.end_samples = take.length_samples;
  for (const take::ChordSpan& chord : take.chords) {
    if (chord.begin_samples > edit.begin_samples) {
      edit.end_samples = chord.begin_samples;
      break;
    }
  }
  edit.chord = parsed->chord;
  if (!parsed->is_exact) edit.written = std::string(text);
  return Edit{std::move(edit)};
}

Result<Edit> set_chord_bass(const take::Take& take, take::ChordId id, int pitch_class) {
  const auto index = index_of(take, id);
  if (!index) return no_chord();
  const take::ChordSpan& span = take.chords[*index];
  if (!span.chord.root_pc) {
    return fail(ErrorCode::invalid_argument, "A place without a chord has no bass note.");
  }
  take::SetChord edit = over(span);
  edit.chord = span.chord;
  edit.chord.bass_pc = pitch_class;
  return Edit{std::move(edit)};
}

Result<Edit> choose_chord(const take::Take& take, take::ChordId id,
                          const dsp::ChordReading& chord) {
  const auto index = index_of(take, id);
  if (!index) return no_chord();
  take::SetChord edit = over(take.chords[*index]);
  edit.chord = chord;
  return Edit{std::move(edit)};
}

std::vector<std::string> chord_completions(const take::Take& take, std::optional<take::ChordId> id,
                                           std::string_view typed, std::size_t most) {
  std::vector<std::string> found;
  const auto offer = [&](std::string label) {
    if (found.size() < most && begins_with(label, typed) &&
        std::ranges::find(found, label) == found.end()) {
      found.push_back(std::move(label));
    }
  };
  const auto key = take::key_of(take);
  if (id) {
    if (const auto index = index_of(take, *id)) {
      const take::ChordSpan& span = take.chords[*index];
      offer(take::chord_name(take, span));
      for (const dsp::ChordCandidate& other : span.alternatives) {
        offer(theory::chart_label(other.chord, key));
      }
    }
  }
  for (const take::ChordSpan& span : take.chords) offer(take::chord_name(take, span));
  std::string_view rest = typed;
  if (const auto root = theory::take_pitch_name(rest)) {
    for (const char* quality : {"7", "maj7", "m7", "", "m", "m7b5", "dim7", "6", "m6", "7sus4",
                                "sus4", "mmaj7", "aug", "dim"}) {
      offer(theory::to_text(*root) + quality);
    }
  }
  offer("N.C.");
  return found;
}

std::string free_passage_name(const take::Take& take) {
  for (int number = 1;; ++number) {
    std::string name = fmt::format("passage {}", number);
    if (std::ranges::find(take.passages, name, &take::Passage::name) == take.passages.end()) {
      return name;
    }
  }
}

take::Stretch on_beats(const take::Take& take, const take::Stretch& stretch) {
  const take::Beat* begin = take::nearest_beat(take, stretch.begin_samples);
  const take::Beat* end = take::nearest_beat(take, stretch.end_samples);
  if (begin == nullptr || end == nullptr || begin->time_samples >= end->time_samples) {
    return stretch;
  }
  return {begin->time_samples, end->time_samples};
}

}  // namespace lowstride::desk
