#include "src/sheet/excerpt.hpp"

#include <algorithm>
#include <vector>

#include "src/sheet/grid.hpp"

namespace lowstride::sheet {
namespace {

using take::Stretch;

/// Cuts spans with a begin and an end to a stretch; those outside it go.
template <typename Spans>
void cut(Spans& spans, const Stretch& stretch) {
  for (auto& span : spans) {
    span.begin_samples = std::max(span.begin_samples, stretch.begin_samples);
    span.end_samples = std::min(span.end_samples, stretch.end_samples);
  }
  std::erase_if(spans, [](const auto& span) { return span.end_samples <= span.begin_samples; });
}

/// Notes or stabs by their index in the take. A sound struck just before the stretch that the sheet
/// writes as its first keeps its onset.
template <typename Sounds>
Sounds chosen(const Sounds& sounds, const std::vector<std::size_t>& indices,
              const std::vector<std::size_t>& held_into, const Stretch& stretch) {
  Sounds kept;
  for (const std::size_t index : indices) {
    auto sound = sounds[index];
    if (std::ranges::find(held_into, index) != held_into.end()) {
      sound.onset_samples = std::max(sound.onset_samples, stretch.begin_samples);
    }
    sound.offset_samples = std::min(sound.offset_samples, stretch.end_samples);
    if (sound.onset_samples < sound.offset_samples) kept.push_back(std::move(sound));
  }
  return kept;
}

template <typename Sounds>
std::vector<std::size_t> begun_within(const Sounds& sounds, const Stretch& stretch) {
  std::vector<std::size_t> indices;
  for (std::size_t i = 0; i < sounds.size(); ++i) {
    if (sounds[i].onset_samples >= stretch.begin_samples &&
        sounds[i].onset_samples < stretch.end_samples) {
      indices.push_back(i);
    }
  }
  return indices;
}

/// Indices of what the bars write, each once; those that a bar line before them cuts.
struct Written {
  std::vector<std::size_t> indices;
  std::vector<std::size_t> held_into;

  template <typename Piece>
  void add(const Piece& piece, std::size_t index) {
    if (!indices.empty() && indices.back() == index) return;
    if (indices.empty() && piece.is_tied_from_previous) held_into.push_back(index);
    indices.push_back(index);
  }
};

}  // namespace

bool asks_for_part(const LayoutOptions& options) noexcept {
  return options.first_bar || options.last_bar || options.stretch;
}

Result<take::Take> excerpt(const take::Take& take, const LayoutOptions& options) {
  if (!asks_for_part(options)) return take;
  LayoutOptions written_out = options;
  written_out.has_repeats = false;
  const SheetLayout layout = lay_out(take, written_out);
  Written notes;
  Written stabs;
  Stretch stretch;
  if (!layout.bars.empty()) {
    for (const SheetBar& bar : layout.bars) {
      for (const SheetNote& note : bar.notes) notes.add(note, note.note_index);
      for (const SheetStab& stab : bar.stabs) stabs.add(stab, stab.stab_index);
    }
    stretch.begin_samples = std::max<std::int64_t>(0, layout.bars.front().beat_samples.front());
    stretch.end_samples = std::min(take.length_samples, layout.bars.back().beat_samples.back());
  } else if (options.stretch && take.beats.empty()) {
    stretch = *options.stretch;
    notes.indices = begun_within(take.notes, stretch);
    stabs.indices = begun_within(take.stabs, stretch);
  } else {
    return fail(ErrorCode::invalid_argument,
                "There is nothing in the bars asked for; ask for bars that the take has.");
  }
  take::Take part = take;
  part.notes = chosen(take.notes, notes.indices, notes.held_into, stretch);
  part.stabs = chosen(take.stabs, stabs.indices, stabs.held_into, stretch);
  cut(part.chords, stretch);
  cut(part.passages, stretch);
  cut(part.gaps, stretch);
  std::erase_if(part.beats, [&stretch](const take::Beat& beat) {
    return beat.time_samples < stretch.begin_samples || beat.time_samples >= stretch.end_samples;
  });
  // As the whole take is written, however few off-beats the part has.
  part.swing_ratio = layout.swing_ratio.value_or(1.0);
  return part;
}

take::Take begun_at_once(take::Take take) {
  std::int64_t begin = 0;
  if (!take.beats.empty()) {
    begin = take.beats.front().time_samples;
  } else if (!take.notes.empty()) {
    begin = take.notes.front().onset_samples;
  }
  const auto move = [begin](std::int64_t& time) { time = std::max<std::int64_t>(0, time - begin); };
  for (take::Note& note : take.notes) {
    move(note.onset_samples);
    move(note.offset_samples);
  }
  for (take::Stab& stab : take.stabs) {
    move(stab.onset_samples);
    move(stab.offset_samples);
  }
  for (take::Beat& beat : take.beats) move(beat.time_samples);
  for (auto& chord : take.chords) {
    move(chord.begin_samples);
    move(chord.end_samples);
  }
  for (auto& passage : take.passages) {
    move(passage.begin_samples);
    move(passage.end_samples);
  }
  take.gaps.clear();
  move(take.length_samples);
  take.recording.reset();
  return take;
}

}  // namespace lowstride::sheet
