#include "src/drill/hint.hpp"

#include <array>
#include <cstdlib>
#include <string_view>

#include <fmt/format.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::drill {
namespace {

using Text = std::optional<std::string>;

std::string_view third_text(const dsp::ChordReading& chord) {
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  if ((tones & (1U << 4U)) != 0U) return "a major third";
  if ((tones & (1U << 3U)) != 0U) return "a minor third";
  return "a fourth in place of its third";
}

std::string_view seventh_text(const dsp::ChordReading& chord) {
  if (chord.quality == dsp::ChordQuality::diminished_seventh) return "a diminished seventh";
  const unsigned tones = dsp::chord_tone_mask(chord.quality);
  if ((tones & (1U << 11U)) != 0U) return "a major seventh";
  if ((tones & (1U << 10U)) != 0U) return "a minor seventh";
  if ((tones & (1U << 9U)) != 0U) return "a sixth";
  return "no seventh";
}

Text chord_hint(const Item& item, HintStep step) {
  const dsp::ChordReading& chord = item.chords[item.asked].chord;
  switch (step) {
    case HintStep::direction:
      return fmt::format("It has {}.", third_text(chord));
    case HintStep::scale_degree:
      if (!item.tune_key) return std::nullopt;
      return fmt::format("Its bass note is degree {} of {}.",
                         degree_text(chord.bass_pc, *item.tune_key),
                         theory::key_text(*item.tune_key));
    case HintStep::chord_function:
      return fmt::format("It has {} and {}{}.", third_text(chord), seventh_text(chord),
                         chord.bass_pc == chord.root_pc ? ", and stands on its root"
                                                        : ", and does not stand on its root");
    case HintStep::note:
      return fmt::format("It is {}.", item.chords[item.asked].name);
    case HintStep::sound:
      break;
  }
  return "Listen to it alone.";
}

Text change_hint(const Item& item, HintStep step) {
  const ItemChord* change = nullptr;
  for (const ItemChord& chord : item.chords) {
    if (chord.beat > 0.25) {
      change = &chord;
      break;
    }
  }
  if (change == nullptr) return std::nullopt;
  switch (step) {
    case HintStep::direction:
      return change->beat < item.beat_count() / 2.0 ? "The first change is in the first half."
                                                    : "The first change is in the second half.";
    case HintStep::scale_degree:
      if (!item.tune_key || !change->chord.root_pc) return std::nullopt;
      return fmt::format("It goes to a chord on degree {}.",
                         degree_text(*change->chord.root_pc, *item.tune_key));
    case HintStep::chord_function:
      return fmt::format("It goes from {} to {}.", item.chords.front().name, change->name);
    case HintStep::note:
      return fmt::format("It is at {}.", beat_text(item, change->beat));
    case HintStep::sound:
      break;
  }
  return "Listen with a click on the change.";
}

Text note_hint(const Item& item, HintStep step, const ItemNote& note) {
  switch (step) {
    case HintStep::direction: {
      if (!note.interval_semitones) return std::nullopt;
      const int by = *note.interval_semitones;
      if (by == 0) return "It is the note before it once more.";
      return fmt::format("It lies {} than the note before it, by {}.", by > 0 ? "higher" : "lower",
                         std::abs(by) <= 2 ? "a step" : "a leap");
    }
    case HintStep::scale_degree:
      if (!item.tune_key) return std::nullopt;
      return fmt::format("It is degree {} of {}.", degree_text(note.midi, *item.tune_key),
                         theory::key_text(*item.tune_key));
    case HintStep::chord_function: {
      // The role would be the answer itself there: its distance from the root is told.
      if (item.kind == Kind::name_the_role || !note.role) {
        const ItemChord* under = nullptr;
        for (const ItemChord& chord : item.chords) {
          if (chord.beat <= note.beat + 0.1) under = &chord;
        }
        if (under == nullptr || !under->chord.root_pc) return std::nullopt;
        return fmt::format("It lies {} half steps above the root of {}.",
                           (note.midi - *under->chord.root_pc + 120) % 12, under->name);
      }
      return fmt::format("Against its chord it is: {}.", theory::role_text(*note.role));
    }
    case HintStep::note:
      if (item.kind == Kind::name_the_role) {
        return fmt::format("The note is {}: {}.", theory::pitch_text(note.midi, item.tune_key),
                           theory::role_text(*note.role));
      }
      return fmt::format("It is {}.", theory::pitch_text(note.midi, item.tune_key));
    case HintStep::sound:
      break;
  }
  return "Listen to it alone.";
}

}  // namespace

std::string degree_text(int pitch_class, const theory::Key& key) {
  static constexpr std::array<std::string_view, 12> degrees{"1",  "b2", "2",  "b3", "3",  "4",
                                                            "#4", "5",  "b6", "6",  "b7", "7"};
  return std::string(
      degrees[static_cast<std::size_t>(((pitch_class - key.tonic_pc) % 12 + 12) % 12)]);
}

std::optional<Hint> hint_for(const Item& item, int step, std::size_t note_index) {
  if (item.kind == Kind::which_is_it || item.kind == Kind::hide_and_work_out) return std::nullopt;
  const bool asks_chord = item.kind == Kind::name_the_chord;
  const bool asks_change = item.kind == Kind::spot_the_change;
  for (; step >= 1 && step <= hint_step_count; ++step) {
    Hint hint;
    hint.step = static_cast<HintStep>(step - 1);
    Text text;
    if (asks_chord) {
      text = chord_hint(item, hint.step);
    } else if (asks_change) {
      text = change_hint(item, hint.step);
    } else if (note_index < item.notes.size()) {
      text = note_hint(item, hint.step, item.notes[note_index]);
      if (hint.step == HintStep::sound) hint.note = note_index;
    }
    if (!text) continue;
    hint.text = *text;
    return hint;
  }
  return std::nullopt;
}

}  // namespace lowstride::drill
