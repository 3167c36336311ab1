#include "src/sheet/layout.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "src/sheet/grid.hpp"
#include "src/sheet/quantise.hpp"
#include "src/sheet/repeats.hpp"
#include "src/sheet/stab_layout.hpp"
#include "src/take/harmony.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

/// An onset from here on belongs to the next beat: half way from its last sixteenth to the beat.
constexpr double early_share = 0.875;

struct PlacedNote {
  std::size_t note_index = 0;
  std::size_t beat_index = 0;
  double share = 0.0;    // within the beat; < 0 when early
  int onset_tatums = 0;  // from the first beat of the grid
  int offset_tatums = 0;
};

/// For a line that was written and not played: the division of each beat in which everything
/// begins and ends exactly on slots.
using ExactDivisions = std::vector<std::optional<Division>>;

struct Placed {
  std::vector<PlacedNote> notes;
  std::vector<Division> divisions;  // one a beat of the grid
  std::vector<std::size_t> unbarred;
  std::vector<std::size_t> crowded;
};

/// Which beat each note belongs to.
void assign_beats(const take::Take& take, std::span<const GridBeat> grid, Placed& placed) {
  const auto beat_count = static_cast<double>(grid.size() - 1);
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const double position = beat_position(grid, take.notes[i].onset_samples);
    double beat = std::floor(position);
    if (position - beat >= early_share) beat += 1.0;
    if (beat < 0.0 || beat >= beat_count) {
      placed.unbarred.push_back(i);
      continue;
    }
    placed.notes.push_back({i, static_cast<std::size_t>(beat), position - beat, 0, 0});
  }
  // A stroke just before a beat that has a note of its own leads into it from the beat before.
  for (std::size_t i = 0; i + 1 < placed.notes.size(); ++i) {
    PlacedNote& early = placed.notes[i];
    const PlacedNote& next = placed.notes[i + 1];
    if (early.share < 0.0 && early.beat_index > 0 && next.beat_index == early.beat_index &&
        next.share < 1.0 - early_share) {
      early.beat_index -= 1;
      early.share += 1.0;
      // Those before it that were taken as early too must not overtake it.
      for (std::size_t j = i; j-- > 0 && placed.notes[j].beat_index > early.beat_index;) {
        placed.notes[j].beat_index -= 1;
        placed.notes[j].share += 1.0;
      }
    }
  }
}

ExactDivisions exact_divisions(const take::Take& take, std::span<const GridBeat> grid,
                               double long_share, const Placed& placed) {
  ExactDivisions divisions(grid.size() - 1);
  if (take.recording) return divisions;
  std::vector<std::vector<double>> onsets(grid.size() - 1);
  std::vector<std::vector<double>> ends(grid.size() - 1);
  constexpr double hair = 0.012;
  for (const PlacedNote& note : placed.notes) {
    onsets[note.beat_index].push_back(note.share);
    const double end = beat_position(grid, take.notes[note.note_index].offset_samples);
    const double beat = std::floor(end + hair);
    if (end - beat > hair && beat >= 0.0 && beat < static_cast<double>(ends.size())) {
      ends[static_cast<std::size_t>(beat)].push_back(end - beat);
    }
  }
  for (std::size_t i = 0; i < divisions.size(); ++i) {
    std::vector<double> all = onsets[i];
    all.insert(all.end(), ends[i].begin(), ends[i].end());
    // Ends that lie anywhere, as sequencers leave them, do not make onsets any less exact.
    if (!all.empty()) divisions[i] = exact_division(all, long_share);
    if (!divisions[i] && !onsets[i].empty()) divisions[i] = exact_division(onsets[i], long_share);
  }
  return divisions;
}

void quantise_onsets(const take::Take& take, std::span<const GridBeat> grid, double long_share,
                     const ExactDivisions& exact, Placed& placed) {
  std::vector<PlacedNote> kept;
  for (std::size_t begin = 0; begin < placed.notes.size();) {
    const std::size_t beat = placed.notes[begin].beat_index;
    std::size_t end = begin;
    std::vector<double> shares;
    while (end < placed.notes.size() && placed.notes[end].beat_index == beat) {
      shares.push_back(placed.notes[end++].share);
    }
    const double seconds =
        static_cast<double>(grid[beat + 1].time_samples - grid[beat].time_samples) /
        static_cast<double>(take.time_base_hz);
    QuantisedBeat written;
    if (exact[beat]) {
      written.division = *exact[beat];
      for (const double share : shares) {
        written.onset_tatums.push_back(*exact_tatums(share, *exact[beat], long_share));
      }
      // A stroke at the very end of a beat has no slot of its own in it.
      const bool has_slots =
          std::ranges::adjacent_find(written.onset_tatums, std::greater_equal{}) ==
              written.onset_tatums.end() &&
          written.onset_tatums.back() < tatums_per_beat;
      if (!has_slots) written = quantise_beat(shares, seconds, long_share);
    } else {
      written = quantise_beat(shares, seconds, long_share);
    }
    placed.divisions[beat] = written.division;
    for (std::size_t i = begin; i < end; ++i) {
      if (i - begin >= written.onset_tatums.size()) {
        placed.crowded.push_back(placed.notes[i].note_index);
        continue;
      }
      kept.push_back(placed.notes[i]);
      kept.back().onset_tatums =
          static_cast<int>(beat) * tatums_per_beat + written.onset_tatums[i - begin];
    }
    begin = end;
  }
  placed.notes = std::move(kept);
}

/// Written ends: up to the next note unless at least half a beat of silence lies between; then to
/// the next slot after the sound ends.
void quantise_offsets(const take::Take& take, std::span<const GridBeat> grid, double long_share,
                      const ExactDivisions& exact, Placed& placed) {
  const int last_tatum = static_cast<int>(grid.size() - 1) * tatums_per_beat;
  for (std::size_t i = 0; i < placed.notes.size(); ++i) {
    PlacedNote& note = placed.notes[i];
    const int next = i + 1 < placed.notes.size() ? placed.notes[i + 1].onset_tatums : last_tatum;
    const double position = beat_position(grid, take.notes[note.note_index].offset_samples);
    const double beat = std::clamp(std::floor(position), 0.0, static_cast<double>(grid.size() - 2));
    const auto beat_index = static_cast<std::size_t>(beat);
    if (!take.recording) {
      const auto tatums =
          exact_tatums(position - beat, exact[beat_index].value_or(Division::whole), long_share);
      const int end = static_cast<int>(beat) * tatums_per_beat + tatums.value_or(0);
      if (tatums && end > note.onset_tatums && end <= next) {
        note.offset_tatums = end;
        continue;
      }
    }
    const double sounded = tatums_per_beat * (beat + straightened(position - beat, long_share));
    if (i + 1 < placed.notes.size() && next - sounded <= shortest_rest_tatums) {
      note.offset_tatums = next;
      continue;
    }
    note.offset_tatums =
        std::min(next, written_end(sounded, note.onset_tatums, placed.divisions[beat_index]));
  }
}

std::vector<SheetBar> empty_bars(std::span<const GridBeat> grid,
                                 const std::vector<Division>& divisions) {
  std::vector<SheetBar> bars;
  for (std::size_t i = 0; i + 1 < grid.size(); ++i) {
    const bool is_new =
        i == 0 || grid[i].bar != grid[i - 1].bar || grid[i].beat <= grid[i - 1].beat;
    if (is_new) {
      SheetBar bar;
      bar.number = grid[i].bar;
      bar.first_beat = grid[i].beat;
      bar.beat_count = 0;
      bars.push_back(bar);
    }
    SheetBar& bar = bars.back();
    ++bar.beat_count;
    bar.beat_samples.push_back(grid[i].time_samples);
    bar.divisions.push_back(divisions[i]);
  }
  for (std::size_t i = 0; i < bars.size(); ++i) {
    bars[i].beat_samples.push_back(i + 1 < bars.size() ? bars[i + 1].beat_samples.front()
                                                       : grid.back().time_samples);
  }
  return bars;
}

Joint joint_of(const take::Take& take, std::size_t index) {
  const take::Note& note = take.notes[index];
  if (index == 0 || note.articulation == neck::Articulation::plucked) return Joint::none;
  if (note.articulation == neck::Articulation::slid) return Joint::slide;
  return note.midi < take.notes[index - 1].midi ? Joint::pull_off : Joint::hammer_on;
}

/// Cuts the notes at the bar lines.
void fill_notes(const take::Take& take, const Placed& placed, double doubt_threshold,
                std::vector<SheetBar>& bars) {
  int bar_start = 0;
  std::size_t first = 0;
  for (SheetBar& bar : bars) {
    const int bar_end = bar_start + bar.length_tatums();
    while (first < placed.notes.size() && placed.notes[first].offset_tatums <= bar_start) ++first;
    for (std::size_t i = first; i < placed.notes.size(); ++i) {
      const PlacedNote& note = placed.notes[i];
      if (note.onset_tatums >= bar_end) break;
      const take::Note& source = take.notes[note.note_index];
      SheetNote piece;
      piece.note_index = note.note_index;
      const int begin = std::max(note.onset_tatums, bar_start);
      piece.onset_tatums = begin - bar_start;
      piece.length_tatums = std::min(note.offset_tatums, bar_end) - begin;
      piece.midi = source.midi + 12 * take.octave_shift;
      piece.is_tied_from_previous = note.onset_tatums < bar_start;
      piece.is_tied_to_next = note.offset_tatums > bar_end;
      piece.is_dead = source.is_dead;
      piece.is_doubt = take::is_doubt(source, doubt_threshold);
      piece.position = source.position;
      if (!piece.is_tied_from_previous) piece.joint = joint_of(take, note.note_index);
      bar.notes.push_back(piece);
    }
    bar_start = bar_end;
  }
}

void fill_chords(const take::Take& take, std::span<const GridBeat> grid, double doubt_threshold,
                 std::vector<SheetBar>& bars) {
  int total = 0;
  for (const SheetBar& bar : bars) total += bar.length_tatums();
  std::string before = "N.C.";
  for (std::size_t i = 0; i < take.chords.size(); ++i) {
    const take::ChordSpan& span = take.chords[i];
    const double begin = beat_position(grid, span.begin_samples);
    const double end = beat_position(grid, span.end_samples);
    // On the beat, or half way to the next one where it clearly lies there.
    const double beat = std::floor(begin + 0.3);
    const bool is_off_beat = begin - beat > 0.3;
    int tatum = static_cast<int>(beat) * tatums_per_beat + (is_off_beat ? tatums_per_beat / 2 : 0);
    if (tatum < 0 && end * tatums_per_beat > 0.5 * tatums_per_beat) tatum = 0;
    if (tatum < 0 || tatum >= total) continue;
    const std::string text = chord_name(take, span);
    if (text == before) continue;
    before = text;
    int bar_start = 0;
    for (SheetBar& bar : bars) {
      if (tatum < bar_start + bar.length_tatums()) {
        // Two changes at one place: the later one stands.
        if (!bar.chords.empty() && bar.chords.back().onset_tatums == tatum - bar_start) {
          bar.chords.pop_back();
        }
        bar.chords.push_back({i, tatum - bar_start, text, take::is_doubt(span, doubt_threshold)});
        break;
      }
      bar_start += bar.length_tatums();
    }
  }
}

/// A pick-up begins on the beat of its first note or stab.
void trim_pickup(SheetBar& bar) {
  int first = bar.length_tatums();
  if (!bar.notes.empty()) first = bar.notes.front().onset_tatums;
  if (!bar.stabs.empty()) first = std::min(first, bar.stabs.front().onset_tatums);
  if (first == bar.length_tatums()) return;
  const int skipped = first / tatums_per_beat;
  if (skipped == 0) return;
  bar.first_beat += skipped;
  bar.beat_count -= skipped;
  bar.beat_samples.erase(bar.beat_samples.begin(), bar.beat_samples.begin() + skipped);
  bar.divisions.erase(bar.divisions.begin(), bar.divisions.begin() + skipped);
  const int moved = skipped * tatums_per_beat;
  for (SheetNote& note : bar.notes) note.onset_tatums -= moved;
  for (SheetStab& stab : bar.stabs) stab.onset_tatums -= moved;
  std::vector<SheetChord> chords;
  for (SheetChord chord : bar.chords) {
    chord.onset_tatums = std::max(0, chord.onset_tatums - moved);
    if (!chords.empty() && chords.back().onset_tatums == chord.onset_tatums) chords.pop_back();
    chords.push_back(std::move(chord));
  }
  bar.chords = std::move(chords);
}

/// Leaves out counted-in bars before the line and empty ones after it.
void trim_ends(std::vector<SheetBar>& bars) {
  const auto has_content = [](const SheetBar& bar) {
    return !bar.notes.empty() || !bar.stabs.empty() || !bar.chords.empty();
  };
  const auto first = std::ranges::find_if(bars, [](const SheetBar& bar) {
    return bar.number >= 1 || !bar.notes.empty() || !bar.stabs.empty();
  });
  // A chord that began over the count-in still stands over the first bar.
  if (first != bars.begin() && first != bars.end() &&
      (first->chords.empty() || first->chords.front().onset_tatums > 0)) {
    for (auto bar = first; bar-- != bars.begin();) {
      if (bar->chords.empty()) continue;
      SheetChord chord = bar->chords.back();
      chord.onset_tatums = 0;
      first->chords.insert(first->chords.begin(), chord);
      break;
    }
  }
  bars.erase(bars.begin(), first);
  if (!bars.empty() && bars.front().number <= 0) trim_pickup(bars.front());
  const auto last = std::find_if(bars.rbegin(), bars.rend(), has_content);
  if (last != bars.rend()) bars.erase(last.base(), bars.end());
}

/// Keeps the asked bars; the first of them shows the chord in force.
void keep_range(const LayoutOptions& options, std::vector<SheetBar>& bars) {
  std::optional<SheetChord> in_force;
  std::vector<SheetBar> kept;
  for (SheetBar& bar : bars) {
    bool is_asked = (!options.first_bar || bar.number >= *options.first_bar) &&
                    (!options.last_bar || bar.number <= *options.last_bar);
    if (options.stretch) {
      // A stretch that reaches less than half a beat into a bar does not ask for it.
      const std::int64_t slack = (bar.beat_samples[1] - bar.beat_samples[0]) / 2;
      is_asked = is_asked && options.stretch->begin_samples < bar.beat_samples.back() - slack &&
                 options.stretch->end_samples > bar.beat_samples.front() + slack;
    }
    const std::optional<SheetChord> last =
        bar.chords.empty() ? std::nullopt : std::optional(bar.chords.back());
    if (is_asked) {
      const bool has_first = !bar.chords.empty() && bar.chords.front().onset_tatums == 0;
      if (kept.empty() && in_force && !has_first) {
        in_force->onset_tatums = 0;
        bar.chords.insert(bar.chords.begin(), *in_force);
      }
      kept.push_back(std::move(bar));
    }
    if (last) in_force = last;
  }
  bars = std::move(kept);
}

/// Tells each note how the next one leaves it; a joint whose other end is not written goes.
void connect_joints(std::vector<SheetBar>& bars) {
  SheetNote* before = nullptr;
  for (SheetBar& bar : bars) {
    for (SheetNote& note : bar.notes) {
      if (note.joint != Joint::none) {
        if (before != nullptr && before->note_index + 1 == note.note_index) {
          before->joint_to_next = note.joint;
        } else {
          note.joint = Joint::none;
        }
      }
      before = &note;
    }
  }
}

}  // namespace

bool begins_in(const take::Passage& passage, const SheetBar& bar) {
  const std::int64_t slack = (bar.beat_samples[1] - bar.beat_samples[0]) / 2;
  return passage.begin_samples >= bar.beat_samples.front() - slack &&
         passage.begin_samples < bar.beat_samples.back() - slack;
}

SheetLayout lay_out(const take::Take& take, const LayoutOptions& options) {
  SheetLayout layout;
  layout.tempo_bpm = median_tempo_bpm(take);
  layout.swing_ratio = written_swing_ratio(take);
  const std::vector<GridBeat> grid = written_grid(take);
  if (grid.empty()) {
    for (std::size_t i = 0; i < take.notes.size(); ++i) layout.unbarred.push_back(i);
    return layout;
  }
  Placed placed;
  placed.divisions.assign(grid.size() - 1, Division::whole);
  assign_beats(take, grid, placed);
  const double long_share = long_share_of(layout.swing_ratio);
  const ExactDivisions exact = exact_divisions(take, grid, long_share, placed);
  for (std::size_t i = 0; i < exact.size(); ++i) {
    if (exact[i]) placed.divisions[i] = *exact[i];
  }
  quantise_onsets(take, grid, long_share, exact, placed);
  quantise_offsets(take, grid, long_share, exact, placed);
  layout.unbarred = std::move(placed.unbarred);
  layout.crowded = std::move(placed.crowded);
  layout.bars = empty_bars(grid, placed.divisions);
  fill_notes(take, placed, options.doubt_threshold, layout.bars);
  layout.stabs_left_out = fill_stabs(take, grid, long_share, layout.bars);
  fill_chords(take, grid, options.doubt_threshold, layout.bars);
  trim_ends(layout.bars);
  if (options.first_bar || options.last_bar || options.stretch) keep_range(options, layout.bars);
  if (options.has_repeats) fold_repeats(take, layout);
  connect_joints(layout.bars);
  return layout;
}

}  // namespace lowstride::sheet
