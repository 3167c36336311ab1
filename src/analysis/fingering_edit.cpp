#include "src/analysis/fingering_edit.hpp"

#include <utility>
#include <vector>

#include "src/take/proposals.hpp"

namespace lowstride::analysis {

Result<take::Edit> fingering_edit(const take::Take& take, std::optional<int> octave_shift,
                                  neck::FingeringOptions options) {
  std::vector<neck::LineNote> line;
  line.reserve(take.notes.size());
  for (const take::Note& note : take.notes) {
    neck::LineNote& entry = line.emplace_back();
    entry.onset_seconds = take::to_seconds(note.onset_samples, take.time_base_hz);
    entry.offset_seconds = take::to_seconds(note.offset_samples, take.time_base_hz);
    entry.midi = note.midi;
    entry.is_dead = note.is_dead;
    if (note.is_position_pinned) entry.pinned = note.position;
  }
  if (octave_shift) options.octave_shift = octave_shift;
  auto fingered = neck::finger_line(take.neck, line, options);
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
