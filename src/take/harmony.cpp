#include "src/take/harmony.hpp"

#include <algorithm>
#include <cstdlib>

#include "src/take/time_text.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::take {

std::optional<theory::Key> key_of(const Take& take) {
  if (!take.key) return std::nullopt;
  return theory::Key{take.key->tonic_pc, take.key->is_minor};
}

std::string chord_name(const Take& take, const ChordSpan& span) {
  return span.written.empty() ? theory::chart_label(span.chord, key_of(take)) : span.written;
}

namespace {

/// How long before a change a note may be struck and still belong to the new chord.
std::int64_t early_samples(const Take& take) {
  const double beat_seconds = 60.0 / median_tempo_bpm(take).value_or(120.0);
  return static_cast<std::int64_t>(std::min(0.1, beat_seconds / 4.0) *
                                   static_cast<double>(take.time_base_hz));
}

dsp::ChordReading chord_near(const Take& take, const Note& note, std::int64_t early) {
  const std::int64_t time = note.onset_samples + early;
  const auto after = std::ranges::upper_bound(take.chords, time, {}, &ChordSpan::begin_samples);
  if (after == take.chords.begin()) return {};
  const ChordSpan& span = *std::prev(after);
  return time < span.end_samples + early ? span.chord : dsp::ChordReading{};
}

}  // namespace

std::vector<dsp::ChordReading> chords_under(const Take& take) {
  const std::int64_t early = early_samples(take);
  std::vector<dsp::ChordReading> chords;
  chords.reserve(take.notes.size());
  for (const Note& note : take.notes) chords.push_back(chord_near(take, note, early));
  return chords;
}

std::vector<std::optional<theory::NoteRole>> roles_of(const Take& take) {
  const std::int64_t early = early_samples(take);
  const std::vector<dsp::ChordReading> chords = chords_under(take);
  std::vector<theory::RoleNote> line;
  dsp::ChordReading before;
  for (const Note& note : take.notes) {
    theory::RoleNote entry;
    entry.midi = note.midi;
    entry.is_dead = note.is_dead;
    entry.chord = chords[line.size()];
    entry.begins_chord = line.empty() || entry.chord != before;
    before = entry.chord;
    if (const Beat* beat = nearest_beat(take, note.onset_samples)) {
      entry.is_downbeat =
          beat->beat == 1 && std::abs(beat->time_samples - note.onset_samples) <= 2 * early;
    }
    line.push_back(entry);
  }
  return theory::line_roles(line, key_of(take));
}

}  // namespace lowstride::take
