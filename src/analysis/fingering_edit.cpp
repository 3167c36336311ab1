#include "src/analysis/fingering_edit.hpp"

#include <algorithm>
#include <utility>

#include "src/take/proposals.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::analysis {
namespace {

/// A change this close to a note's onset is the note's own: players are ahead and behind by less.
constexpr double change_slack_seconds = 0.08;

/// The chord that a note stands under, or null.
const take::ChordSpan* chord_at(const take::Take& take, const take::Note& note) {
  const std::int64_t time =
      note.onset_samples + take::to_samples(change_slack_seconds, take.time_base_hz);
  const auto after =
      std::ranges::upper_bound(take.chords, time, {}, &take::ChordSpan::begin_samples);
  return after == take.chords.begin() ? nullptr : &*std::prev(after);
}

bool is_tone_of(int midi, const dsp::ChordReading& chord) {
  const unsigned tones = theory::chord_pitch_classes(chord);
  return tones == 0U || ((tones >> static_cast<unsigned>(midi % 12)) & 1U) != 0U;
}

}  // namespace

std::vector<neck::LineNote> line_of(const take::Take& take) {
  std::vector<neck::LineNote> line;
  line.reserve(take.notes.size());
  const take::ChordSpan* chord_before = nullptr;
  for (const take::Note& note : take.notes) {
    const take::ChordSpan* chord = chord_at(take, note);
    if (!line.empty() && chord != nullptr && chord != chord_before) {
      line.back().rings_into_change = !is_tone_of(line.back().midi, chord->chord);
    }
    chord_before = chord;
    neck::LineNote& entry = line.emplace_back();
    entry.onset_seconds = take::to_seconds(note.onset_samples, take.time_base_hz);
    entry.offset_seconds = take::to_seconds(note.offset_samples, take.time_base_hz);
    entry.midi = note.midi;
    entry.is_dead = note.is_dead;
    entry.articulation = note.articulation;
    if (note.is_position_pinned) entry.pinned = note.position;
  }
  return line;
}

Result<neck::Fingering> fingering_of(const take::Take& take, std::optional<int> octave_shift) {
  return neck::finger_line(take.neck, line_of(take), take.fingering, octave_shift);
}

Result<take::Edit> fingering_edit(const take::Take& take, std::optional<int> octave_shift) {
  const auto fingered = fingering_of(take, octave_shift);
  if (!fingered) return tl::unexpected(fingered.error());
  take::EditGroup group{.name = "Finger the line", .edits = {}};
  const int shift = fingered->octave_shift;
  if (shift != take.octave_shift) {
    group.edits.emplace_back(take::SetNeck{.neck = take.neck, .octave_shift = shift});
  }
  take::SetFingering fingering;
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    fingering.notes.push_back({take.notes[i].id, fingered->notes[i].position});
  }
  group.edits.emplace_back(std::move(fingering));
  return take::Edit{std::move(group)};
}

}  // namespace lowstride::analysis
