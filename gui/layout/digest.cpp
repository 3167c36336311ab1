#include "gui/layout/digest.hpp"

#include <algorithm>

#include "src/take/harmony.hpp"

namespace lowstride::desk {
namespace {

template <typename Entry, typename Time>
std::size_t first_from(const std::vector<Entry>& entries, double sample, Time time_of) noexcept {
  const auto at = std::partition_point(entries.begin(), entries.end(), [&](const Entry& entry) {
    return static_cast<double>(time_of(entry)) < sample;
  });
  return static_cast<std::size_t>(at - entries.begin());
}

}  // namespace

Digest digest_of(const take::Take& take, double doubt_threshold) {
  Digest digest;
  digest.roles = take::roles_of(take);
  digest.doubts_before.reserve(take.notes.size() + 1);
  digest.confirmed_before.reserve(take.notes.size() + 1);
  std::uint32_t confirmed = 0;
  std::uint32_t doubtful = 0;
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const take::Note& note = take.notes[i];
    digest.doubts_before.push_back(doubtful);
    digest.confirmed_before.push_back(confirmed);
    if (note.state == take::State::confirmed) ++confirmed;
    if (take::is_doubt(note, doubt_threshold)) {
      ++doubtful;
      digest.doubts.push_back({Doubt::Kind::note, i, note.onset_samples,
                               std::min(note.confidence, note.octave_margin)});
    }
  }
  digest.doubts_before.push_back(doubtful);
  digest.confirmed_before.push_back(confirmed);
  digest.doubtful_note_count = doubtful;
  std::size_t confirmed_chords = 0;
  for (std::size_t i = 0; i < take.chords.size(); ++i) {
    const take::ChordSpan& chord = take.chords[i];
    if (chord.state == take::State::confirmed) ++confirmed_chords;
    if (take::is_doubt(chord, doubt_threshold)) {
      digest.doubts.push_back({Doubt::Kind::chord, i, chord.begin_samples, chord.confidence});
    }
  }
  digest.doubtful_chord_count = digest.doubts.size() - doubtful;
  std::stable_sort(digest.doubts.begin(), digest.doubts.end(),
                   [](const Doubt& a, const Doubt& b) { return a.at_samples < b.at_samples; });
  const std::size_t entries = take.notes.size() + take.chords.size();
  if (entries > 0) {
    digest.confirmed_share =
        static_cast<double>(confirmed + confirmed_chords) / static_cast<double>(entries);
  }
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    const take::Beat& beat = take.beats[i];
    if (beat.beat == 1) digest.bars.push_back({beat.time_samples, i, beat.bar});
  }
  digest.remark_places.reserve(take.remarks.size());
  for (const take::Remark& remark : take.remarks) {
    digest.remark_places.push_back(place_of(take, remark));
  }
  return digest;
}

std::size_t first_note_from(const take::Take& take, double sample) noexcept {
  return first_from(take.notes, sample, [](const take::Note& n) { return n.onset_samples; });
}

std::size_t first_beat_from(const take::Take& take, double sample) noexcept {
  return first_from(take.beats, sample, [](const take::Beat& b) { return b.time_samples; });
}

std::optional<std::size_t> note_at(const take::Take& take, double sample) noexcept {
  const std::size_t next = first_note_from(take, sample + 0.5);
  if (next == 0) return std::nullopt;
  const take::Note& note = take.notes[next - 1];
  if (sample >= static_cast<double>(note.offset_samples)) return std::nullopt;
  return next - 1;
}

std::optional<std::size_t> chord_at(const take::Take& take, double sample) noexcept {
  const std::size_t next = first_from(take.chords, sample + 0.5,
                                      [](const take::ChordSpan& c) { return c.begin_samples; });
  if (next == 0) return std::nullopt;
  if (sample >= static_cast<double>(take.chords[next - 1].end_samples)) return std::nullopt;
  return next - 1;
}

std::optional<std::size_t> bar_at(const Digest& digest, double sample) noexcept {
  const std::size_t next =
      first_from(digest.bars, sample + 0.5, [](const BarStart& bar) { return bar.at_samples; });
  if (next == 0) return std::nullopt;
  return next - 1;
}

}  // namespace lowstride::desk
