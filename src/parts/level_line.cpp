#include "src/parts/level_line.hpp"

#include <algorithm>
#include <cstdlib>
#include <span>

#include "dsp/base/contracts.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/scale.hpp"

namespace lowstride::parts {
namespace {

using dsp::ChordReading;

constexpr std::size_t longest_walk = 2;  // notes of a walk-up
constexpr int step_semitones = 2;        // up to a whole step counts as leading on
constexpr int start_above_lowest = 5;    // where the first root is looked for without a line
constexpr int no_line_reach = 5;         // a chord tone this far on, where there is no line
constexpr int widest_root_leap = 7;  // semitones; beyond it a first line stays near its last root

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

bool holds(unsigned mask, int midi) noexcept {
  return ((mask >> static_cast<unsigned>(modulo12(midi))) & 1U) != 0U;
}

/// Semitones above the root, of the first of these that the chord has.
int degree(const ChordReading& chord, std::span<const int> choices) noexcept {
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  for (const int semitones : choices) {
    if (((tones >> static_cast<unsigned>(semitones)) & 1U) != 0U) return semitones;
  }
  return choices.front();
}

int fifth_of(const ChordReading& chord) noexcept { return degree(chord, std::array{7, 6, 8}); }
/// The third, or what stands in its place (the fourth of a suspended chord).
int third_of(const ChordReading& chord) noexcept { return degree(chord, std::array{4, 3, 5}); }

/// What a run of beats needs while it is written.
struct Run {
  ChordRun chord;
  int root_midi = 0;             // in the octave where it is played
  std::optional<int> next_root;  // nothing: no chord follows, or the same root goes on
  unsigned scale = 0;
};

class LevelWriter {
 public:
  LevelWriter(const std::vector<ChartBeat>& beats, Level level,
              const std::optional<theory::Key>& key, const PitchRange& range)
      : beats_(beats), range_(range) {
    for (const ChordRun& chord : chord_runs(beats)) {
      Run run{chord, 0, std::nullopt, theory::scale_in_force(chord.chord, key)};
      if (chord.chord.root_pc) {
        run.root_midi = nearest(chord.chord.bass_pc, reference(chord.begin));
        // Where the line takes an octave on its way, its roots alone would leap.
        if (is_first_level(level) && last_root_ &&
            std::abs(run.root_midi - *last_root_) > widest_root_leap) {
          run.root_midi = nearest(chord.chord.bass_pc, *last_root_);
        }
        last_root_ = run.root_midi;
      }
      runs_.push_back(run);
    }
    for (std::size_t i = 0; i + 1 < runs_.size(); ++i) {
      const ChordReading& next = runs_[i + 1].chord.chord;
      if (runs_[i].chord.chord.root_pc && next.root_pc &&
          next.bass_pc != runs_[i].chord.chord.bass_pc) {
        runs_[i].next_root = runs_[i + 1].root_midi;
      }
    }
  }

  [[nodiscard]] std::vector<ChartNote> write(Level level) {
    for (const Run& run : runs_) {
      if (!run.chord.chord.root_pc) {
        write_without_chord(run, level);
        continue;
      }
      switch (level) {
        case Level::roots:
          write_roots(run, run.chord.end);
          break;
        case Level::walk_ups:
          write_walk_up(run);
          break;
        case Level::root_fifth:
          write_root_fifth(run);
          break;
        case Level::chord_tones:
          write_chord_tones(run);
          break;
        case Level::approaches:
        case Level::whole_line:
          write_approaches(run);
          break;
      }
    }
    for (std::size_t i = 0; i < notes_.size(); ++i) {
      const std::size_t end = i + 1 < notes_.size() ? notes_[i + 1].beat : beats_.size();
      notes_[i].length_beats = end - notes_[i].beat;
    }
    return std::move(notes_);
  }

  /// The pitch of a class nearest to another, the lower of two, within the range.
  [[nodiscard]] int nearest(int pitch_class, int to) const {
    int best = range_.lowest_midi + modulo12(pitch_class - range_.lowest_midi);
    for (int midi = best; midi <= range_.highest_midi; midi += 12) {
      if (std::abs(midi - to) < std::abs(best - to)) best = midi;
    }
    return best;
  }

 private:
  [[nodiscard]] bool is_in_range(int midi) const {
    return midi >= range_.lowest_midi && midi <= range_.highest_midi;
  }
  [[nodiscard]] int reference(std::size_t beat) const {
    if (beats_[beat].line_midi) return *beats_[beat].line_midi;
    return last_root_.value_or(range_.lowest_midi + start_above_lowest);
  }
  void add(std::size_t beat, int midi) { notes_.push_back({beat, 1, midi}); }

  void write_without_chord(const Run& run, Level level) {
    const bool is_full = level == Level::chord_tones || level == Level::approaches;
    for (std::size_t beat = run.chord.begin; beat < run.chord.end; ++beat) {
      if (beats_[beat].line_midi && is_in_range(*beats_[beat].line_midi) &&
          (is_full || beats_[beat].begins_bar)) {
        add(beat, *beats_[beat].line_midi);
      }
    }
  }

  void write_roots(const Run& run, std::size_t end) {
    for (std::size_t beat = run.chord.begin; beat < end; ++beat) {
      if (beat == run.chord.begin || beats_[beat].begins_bar) add(beat, run.root_midi);
    }
  }

  /// Notes of the scale that lead by step to a pitch, the last one nearest to it. Empty where the
  /// range ends before.
  [[nodiscard]] std::vector<int> steps_to(int target, int direction, unsigned scale,
                                          std::size_t count) const {
    std::vector<int> steps;
    for (int midi = target + direction; is_in_range(midi) && steps.size() < count;
         midi += direction) {
      if (holds(scale, midi)) steps.push_back(midi);
    }
    if (steps.size() < count) return {};
    std::ranges::reverse(steps);
    return steps;
  }

  void write_walk_up(const Run& run) {
    std::vector<int> walk;
    if (run.next_root && run.chord.beat_count() > 1) {
      const std::size_t count = std::min(longest_walk, run.chord.beat_count() - 1);
      const int from = *run.next_root > run.root_midi ? -1 : 1;
      walk = steps_to(*run.next_root, from, run.scale, count);
      if (walk.empty()) walk = steps_to(*run.next_root, -from, run.scale, count);
      // The root goes on instead of being struck again.
      if (!walk.empty() && walk.front() == run.root_midi) walk.erase(walk.begin());
    }
    write_roots(run, run.chord.end - walk.size());
    for (std::size_t i = 0; i < walk.size(); ++i) {
      add(run.chord.end - walk.size() + i, walk[i]);
    }
  }

  void write_root_fifth(const Run& run) {
    const ChordReading& chord = run.chord.chord;
    const int fifth_pc = modulo12(*chord.root_pc + fifth_of(chord));
    const int other_pc = fifth_pc == chord.bass_pc ? *chord.root_pc : fifth_pc;
    const int below = run.root_midi - modulo12(run.root_midi - other_pc);
    const int other = below >= range_.lowest_midi ? below : below + 12;
    std::size_t bar_beat = 0;  // beats since the bar, or the chord, began
    bool is_root = false;
    for (std::size_t beat = run.chord.begin; beat < run.chord.end; ++beat) {
      const bool begins = beat == run.chord.begin || beats_[beat].begins_bar;
      bar_beat = begins ? 0 : bar_beat + 1;
      if (begins) {
        add(beat, run.root_midi);
        is_root = true;
      } else if (bar_beat % 2 == 0) {
        is_root = !is_root;
        add(beat, is_root ? run.root_midi : other);
      }
    }
  }

  /// Beats on which a run has notes: those that the line strikes, or all.
  [[nodiscard]] std::vector<std::size_t> struck_beats(const Run& run, bool with_last) const {
    const auto strikes = [this](std::size_t beat) { return beats_[beat].line_midi.has_value(); };
    bool has_line = false;
    for (std::size_t beat = run.chord.begin; beat < run.chord.end; ++beat) {
      has_line = has_line || strikes(beat);
    }
    std::vector<std::size_t> struck;
    for (std::size_t beat = run.chord.begin; beat < run.chord.end; ++beat) {
      const bool is_last = with_last && run.next_root && beat + 1 == run.chord.end;
      if (beat == run.chord.begin || !has_line || strikes(beat) || is_last) struck.push_back(beat);
    }
    return struck;
  }

  /// The chord tone nearest to a wish that is none of two pitches, if there is another.
  [[nodiscard]] int chord_tone_near(const ChordReading& chord, int wish, int not_this,
                                    std::optional<int> nor_this) const {
    const unsigned tones = theory::chord_pitch_classes(chord);
    int best = not_this;
    int best_distance = 1000;
    for (int midi = range_.lowest_midi; midi <= range_.highest_midi; ++midi) {
      if (!holds(tones, midi)) continue;
      const int distance =
          2 * std::abs(midi - wish) + (midi == not_this ? 200 : 0) + (midi == nor_this ? 100 : 0);
      if (distance < best_distance) {
        best_distance = distance;
        best = midi;
      }
    }
    return best;
  }

  void write_chord_tones(const Run& run) {
    const ChordReading& chord = run.chord.chord;
    const std::vector<std::size_t> struck = struck_beats(run, false);
    const std::size_t first = notes_.size();
    add(run.chord.begin, run.root_midi);
    int direction = 1;
    for (std::size_t i = 1; i < struck.size(); ++i) {
      const int before = notes_.back().midi;
      const bool is_last = i + 1 == struck.size();
      if (before + no_line_reach > range_.highest_midi) direction = -1;
      if (before - no_line_reach < range_.lowest_midi) direction = 1;
      const int wish = beats_[struck[i]].line_midi.value_or(before + direction * no_line_reach);
      add(struck[i],
          chord_tone_near(chord, wish, before, is_last ? run.next_root : std::optional<int>()));
    }
    if (struck.size() >= 3) require_third(run, first);
  }

  /// Puts the third in the place where it changes least, if no note is one.
  void require_third(const Run& run, std::size_t first) {
    const ChordReading& chord = run.chord.chord;
    const int third_pc = modulo12(*chord.root_pc + third_of(chord));
    std::size_t best = 0;
    int best_move = 1000;
    for (std::size_t i = first; i < notes_.size(); ++i) {
      if (modulo12(notes_[i].midi) == third_pc) return;
      if (i == first) continue;
      const int third = nearest(third_pc, notes_[i].midi);
      const bool repeats =
          (i + 1 < notes_.size() && notes_[i + 1].midi == third) || notes_[i - 1].midi == third;
      const int move = std::abs(third - notes_[i].midi) + (repeats ? 100 : 0);
      if (move < best_move) {
        best_move = move;
        best = i;
      }
    }
    notes_[best].midi = nearest(third_pc, notes_[best].midi);
  }

  void write_approaches(const Run& run) {
    const ChordReading& chord = run.chord.chord;
    const std::vector<std::size_t> struck = struck_beats(run, true);
    add(run.chord.begin, run.root_midi);
    for (std::size_t i = 1; i < struck.size(); ++i) {
      const std::size_t beat = struck[i];
      const int before = notes_.back().midi;
      const auto& line = beats_[beat].line_midi;
      const bool is_before_change = run.next_root && beat + 1 == run.chord.end;
      if (is_before_change) {
        add(beat, approach(run, line, before));
      } else if (line && is_in_range(*line)) {
        add(beat, *line);
      } else {
        const int wish = line.value_or(before + (i % 4 < 2 ? no_line_reach : -no_line_reach));
        add(beat, chord_tone_near(chord, wish, before, std::nullopt));
      }
    }
  }

  [[nodiscard]] int approach(const Run& run, const std::optional<int>& line, int before) const {
    const int target = *run.next_root;
    if (line && is_in_range(*line)) {
      const int distance = std::abs(*line - target);
      const bool is_step = distance > 0 && distance <= step_semitones;
      if (is_step && (distance == 1 || holds(run.scale, *line))) return *line;
    }
    // From the side that the line comes from, but not the note before again.
    int chosen = before > target ? target + 1 : target - 1;
    if (!is_in_range(chosen) || chosen == before) {
      const int other = 2 * target - chosen;
      if (is_in_range(other)) chosen = other;
    }
    return chosen;
  }

  const std::vector<ChartBeat>& beats_;
  PitchRange range_;
  std::optional<int> last_root_;
  std::vector<Run> runs_;
  std::vector<ChartNote> notes_;
};

/// Semitones above the root for a stretch of up to eight beats of a boogie.
std::vector<int> boogie_figure(const ChordReading& chord, std::size_t beat_count) {
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  const int third = third_of(chord);
  const int fifth = fifth_of(chord);
  const bool has_flat_seventh = (tones & (1U << 10U)) != 0U;
  std::vector<int> figure;
  if (fifth != 7) {
    // No sixth over a diminished or augmented chord: up its own tones and down again.
    std::vector<int> own;
    for (int semitones = 0; semitones < 12; ++semitones) {
      if (((tones >> static_cast<unsigned>(semitones)) & 1U) != 0U) own.push_back(semitones);
    }
    own.push_back(12);
    const std::size_t turn = 2 * (own.size() - 1);
    for (std::size_t i = 0; i < beat_count; ++i) {
      figure.push_back(own[std::min(i % turn, turn - i % turn)]);
    }
    return figure;
  }
  if (beat_count >= 8) {
    figure = {0, third, fifth, 9, has_flat_seventh ? 10 : 12, 9, fifth, third};
  } else if (beat_count >= 4) {
    figure =
        has_flat_seventh ? std::vector<int>{0, fifth, 9, 10} : std::vector<int>{0, third, fifth, 9};
  } else if (beat_count == 3) {
    figure = has_flat_seventh ? std::vector<int>{0, 9, 10} : std::vector<int>{0, fifth, 9};
  } else {
    figure = {0, has_flat_seventh ? 10 : 9};
  }
  return figure;
}

}  // namespace

std::string_view level_name(Level level) noexcept {
  constexpr std::array<std::string_view, 6> names{
      "roots",       "roots with walk-ups",  "root and fifth",
      "chord tones", "line with approaches", "whole line"};
  return names[static_cast<std::size_t>(level) - 1];
}

std::optional<Level> level_from_number(int number) noexcept {
  if (number < 1 || number > 6) return std::nullopt;
  return static_cast<Level>(number);
}

std::vector<ChartNote> level_line(const std::vector<ChartBeat>& beats, Level level,
                                  const std::optional<theory::Key>& key, const PitchRange& range) {
  LOWSTRIDE_EXPECTS(level != Level::whole_line);
  LOWSTRIDE_EXPECTS(range.highest_midi >= range.lowest_midi + 11);
  return LevelWriter(beats, level, key, range).write(level);
}

std::vector<ChartNote> boogie_line(const std::vector<ChartBeat>& beats, const PitchRange& range) {
  LOWSTRIDE_EXPECTS(range.highest_midi >= range.lowest_midi + 11);
  std::vector<ChartNote> notes;
  for (const ChordRun& run : chord_runs(beats)) {
    if (!run.chord.root_pc) continue;
    const int root = range.lowest_midi + ((*run.chord.root_pc - range.lowest_midi) % 12 + 12) % 12;
    for (std::size_t at = run.begin; at < run.end;) {
      const std::vector<int> figure = boogie_figure(run.chord, run.end - at);
      const std::size_t count = std::min(figure.size(), run.end - at);
      for (std::size_t i = 0; i < count; ++i) {
        int midi = root + figure[i];
        if (midi > range.highest_midi) midi -= 12;
        notes.push_back({at + i, 1, midi});
      }
      at += count;
    }
  }
  return notes;
}

}  // namespace lowstride::parts
