#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "dsp/base/contracts.hpp"
#include "src/drill/alignment.hpp"
#include "src/drill/answer.hpp"
#include "src/drill/variation.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::drill {
namespace {

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

std::string note_name(const Item& item, const AnsweredNote& note) {
  if (note.is_dead) return "dead note";
  if (!note.has_octave) return theory::to_text(theory::spell(modulo12(note.midi), item.tune_key));
  return theory::pitch_text(note.midi, item.tune_key);
}

Mark mark_of(const ItemNote& right, const AnsweredNote& heard) {
  if (right.is_dead || heard.is_dead) {
    if (right.is_dead && heard.is_dead) return Mark::tick;
    return right.is_dead || right.midi <= heard.midi ? Mark::down : Mark::up;
  }
  const int upward = right.midi - heard.midi;
  if (modulo12(upward) == 0) return upward == 0 || !heard.has_octave ? Mark::tick : Mark::octave;
  // By name alone the nearer way counts.
  if (!heard.has_octave) return modulo12(upward) <= 6 ? Mark::up : Mark::down;
  return upward > 0 ? Mark::up : Mark::down;
}

void judge_note(const Item& item, const AnsweredNote& heard, Verdict& verdict) {
  const ItemNote& right = item.notes[item.asked];
  const Mark mark = mark_of(right, heard);
  verdict.marks.push_back({right.beat, mark, right.midi, heard.midi, std::nullopt});
  verdict.is_right = mark == Mark::tick;
  verdict.share_right = verdict.is_right ? 1.0 : mark == Mark::octave ? 0.5 : 0.0;
  verdict.heard = note_name(item, heard);
  verdict.right = theory::pitch_text(right.midi, item.tune_key);
  if (mark == Mark::octave) {
    verdict.remark = fmt::format("The right name in the wrong octave; the right note lies {}.",
                                 right.midi > heard.midi ? "higher" : "lower");
  } else if (!verdict.is_right) {
    verdict.remark = fmt::format("The right note lies {}.", mark == Mark::up ? "higher" : "lower");
  }
}

void judge_role(const Item& item, theory::Role heard, Verdict& verdict) {
  const theory::Role right = item.notes[item.asked].role.value_or(theory::Role::root);
  verdict.is_right = heard == right;
  verdict.share_right = verdict.is_right ? 1.0 : 0.0;
  verdict.heard = theory::role_text(heard);
  verdict.right = theory::role_text(right);
}

void judge_taps(const Item& item, const std::vector<double>& taps, double near_beats,
                Verdict& verdict) {
  std::vector<double> changes;
  for (const ItemChord& chord : item.chords) {
    if (chord.beat > 0.25) changes.push_back(chord.beat);
  }
  std::vector<double> off;
  std::vector<bool> used(taps.size(), false);
  std::size_t found = 0;
  for (const double change : changes) {
    std::optional<std::size_t> best;
    for (std::size_t i = 0; i < taps.size(); ++i) {
      const double apart = std::abs(taps[i] - change);
      if (!used[i] && apart <= near_beats && (!best || apart < std::abs(taps[*best] - change))) {
        best = i;
      }
    }
    if (!best) continue;
    used[*best] = true;
    off.push_back(taps[*best] - change);
    ++found;
  }
  const auto count = [](std::size_t n) { return static_cast<double>(n); };
  verdict.share_right =
      changes.empty() ? 0.0 : count(found) / count(std::max(changes.size(), taps.size()));
  verdict.is_right = found == changes.size() && taps.size() == changes.size();
  for (const double tap : taps) {
    verdict.heard += (verdict.heard.empty() ? "" : "; ") + beat_text(item, tap);
  }
  for (const double change : changes) {
    verdict.right += (verdict.right.empty() ? "" : "; ") + beat_text(item, change);
  }
  if (!off.empty()) {
    const double by = median(off);
    verdict.remark = std::abs(by) < 0.05 ? "On the change."
                                         : fmt::format("{:.2g} beats {} the change.", std::abs(by),
                                                       by > 0 ? "after" : "ahead of");
  } else {
    verdict.remark = "No tap was within half a beat of a change.";
  }
}

void judge_chord(const Item& item, const dsp::ChordReading& heard, Verdict& verdict) {
  const dsp::ChordReading& right = item.chords[item.asked].chord;
  const bool has_root = heard.root_pc == right.root_pc;
  const bool has_quality = heard.quality == right.quality;
  const bool has_bass = heard.bass_pc == right.bass_pc;
  verdict.is_right = has_root && has_quality && has_bass;
  verdict.share_right =
      ((has_root ? 1.0 : 0.0) + (has_quality ? 1.0 : 0.0) + (has_bass ? 1.0 : 0.0)) / 3.0;
  verdict.heard = theory::chart_label(heard, item.tune_key);
  verdict.right = item.chords[item.asked].name;
  if (verdict.is_right) return;
  if (has_quality && has_bass) {
    verdict.remark = "Quality and bass note are right, the root is another.";
  } else if (has_quality) {
    verdict.remark = "The quality is right, the bass note is another.";
  } else if (has_bass) {
    verdict.remark = "The bass note is right, the quality is another.";
  }
}

void judge_choice(const Item& item, int heard, int seed, Verdict& verdict) {
  const Variation variation = vary(item, seed);
  const auto letter = [](int index) { return std::string(1, static_cast<char>('A' + index)); };
  verdict.is_right = heard == variation.right_index;
  verdict.share_right = verdict.is_right ? 1.0 : 0.0;
  verdict.heard = letter(heard);
  verdict.right = letter(variation.right_index);
  verdict.remark =
      fmt::format("The other one had, at {}, {}.",
                  beat_text(item, item.notes[variation.note_index].beat), variation.change);
}

double seconds_of(const Item& item, double beats, double speed_ratio) {
  return beats * item.seconds_per_beat() / speed_ratio;
}

/// How far a played line lags, in beats: the median over notes of the right name.
double lag_beats(const Item& item, const std::vector<AnsweredNote>& heard) {
  std::vector<double> late;
  for (const detail::Pairing& pair : detail::align(item.notes, heard, 0.0)) {
    if (!pair.right || !pair.heard) continue;
    const ItemNote& right = item.notes[*pair.right];
    if (mark_of(right, heard[*pair.heard]) == Mark::tick ||
        mark_of(right, heard[*pair.heard]) == Mark::octave) {
      late.push_back(heard[*pair.heard].beat - right.beat);
    }
  }
  return late.empty() ? 0.0 : median(std::move(late));
}

void judge_time(const JudgeOptions& options, Verdict& verdict) {
  std::vector<double> late;
  for (const MarkedNote& note : verdict.marks) {
    if (note.late_seconds) late.push_back(*note.late_seconds);
  }
  if (late.empty()) return;
  std::sort(late.begin(), late.end());
  verdict.late_seconds = median(late);
  verdict.spread_seconds = 0.5 * (late[late.size() * 3 / 4] - late[late.size() / 4]);
  if (std::abs(*verdict.late_seconds) > options.on_time_seconds) {
    verdict.remark += fmt::format("{}{:.0f} ms {} on the whole.", verdict.remark.empty() ? "" : " ",
                                  1000.0 * std::abs(*verdict.late_seconds),
                                  *verdict.late_seconds > 0 ? "late" : "early");
  }
}

void judge_line(const Item& item, const LineAnswer& answer, const JudgeOptions& options,
                Verdict& verdict) {
  const double lag = answer.is_played ? lag_beats(item, answer.notes) : 0.0;
  std::size_t ticks = 0;
  std::size_t octaves = 0;
  for (const detail::Pairing& pair : detail::align(item.notes, answer.notes, lag)) {
    MarkedNote note;
    if (pair.right) {
      note.beat = item.notes[*pair.right].beat;
      note.right_midi = item.notes[*pair.right].midi;
    }
    if (pair.heard) {
      const AnsweredNote& heard = answer.notes[*pair.heard];
      note.heard_midi = heard.midi;
      if (!pair.right) note.beat = heard.beat;
      note.mark = pair.right ? mark_of(item.notes[*pair.right], heard) : Mark::extra;
      if (pair.right && answer.is_played) {
        note.late_seconds = seconds_of(item, heard.beat - note.beat, options.speed_ratio);
      }
    }
    ticks += note.mark == Mark::tick ? 1U : 0U;
    octaves += note.mark == Mark::octave ? 1U : 0U;
    verdict.marks.push_back(note);
  }
  const auto all = std::max<std::size_t>(1, verdict.marks.size());
  verdict.share_right =
      (static_cast<double>(ticks) + 0.5 * static_cast<double>(octaves)) / static_cast<double>(all);
  verdict.is_right = ticks == verdict.marks.size();
  verdict.heard = fmt::format("{} of {} notes", ticks, item.notes.size());
  verdict.right = fmt::format("{} notes", item.notes.size());
  if (octaves > 0 && ticks + octaves == verdict.marks.size()) {
    verdict.remark = octaves == verdict.marks.size()
                         ? "Every name is right, the octave is another throughout."
                         : fmt::format("Every name is right, {} in another octave.", octaves);
  }
  if (answer.is_played) judge_time(options, verdict);
}

void judge_nothing(const Item& item, int seed, Verdict& verdict) {
  verdict.heard = "nothing";
  switch (item.kind) {
    case Kind::find_the_note:
      verdict.marks.push_back({item.notes[item.asked].beat, Mark::open, item.notes[item.asked].midi,
                               std::nullopt, std::nullopt});
      verdict.right = theory::pitch_text(item.notes[item.asked].midi, item.tune_key);
      break;
    case Kind::name_the_role:
      judge_role(item, *item.notes[item.asked].role, verdict);
      break;
    case Kind::spot_the_change:
      judge_taps(item, {}, 0.0, verdict);
      break;
    case Kind::name_the_chord:
      verdict.right = item.chords[item.asked].name;
      break;
    case Kind::which_is_it:
      judge_choice(item, 0, seed, verdict);
      break;
    case Kind::write_the_bar:
    case Kind::play_it_back:
    case Kind::hide_and_work_out:
      judge_line(item, {}, {}, verdict);
      break;
  }
  verdict.heard = "nothing";
  verdict.is_right = false;
  verdict.share_right = 0.0;
}

}  // namespace

bool fits(const Item& item, const Answer& answer) noexcept {
  if (std::holds_alternative<GiveUp>(answer)) return true;
  switch (item.kind) {
    case Kind::find_the_note:
      return std::holds_alternative<NoteAnswer>(answer);
    case Kind::name_the_role:
      return std::holds_alternative<RoleAnswer>(answer);
    case Kind::spot_the_change:
      return std::holds_alternative<TapAnswer>(answer);
    case Kind::name_the_chord:
      return std::holds_alternative<ChordAnswer>(answer);
    case Kind::which_is_it:
      return std::holds_alternative<ChoiceAnswer>(answer);
    case Kind::write_the_bar:
    case Kind::play_it_back:
    case Kind::hide_and_work_out:
      break;
  }
  return std::holds_alternative<LineAnswer>(answer);
}

std::string_view mark_text(Mark mark) noexcept {
  switch (mark) {
    case Mark::tick:
      return "ok";
    case Mark::octave:
      return "8ve";
    case Mark::up:
      return "up";
    case Mark::down:
      return "down";
    case Mark::open:
      return "open";
    case Mark::extra:
      break;
  }
  return "extra";
}

Verdict judge(const Item& item, const Answer& answer, const JudgeOptions& options) {
  LOWSTRIDE_EXPECTS(fits(item, answer));
  Verdict verdict;
  if (const auto* note = std::get_if<NoteAnswer>(&answer)) judge_note(item, note->note, verdict);
  if (const auto* role = std::get_if<RoleAnswer>(&answer)) judge_role(item, role->role, verdict);
  if (const auto* taps = std::get_if<TapAnswer>(&answer)) {
    judge_taps(item, taps->beats, options.near_beats, verdict);
  }
  if (const auto* chord = std::get_if<ChordAnswer>(&answer))
    judge_chord(item, chord->chord, verdict);
  if (const auto* line = std::get_if<LineAnswer>(&answer))
    judge_line(item, *line, options, verdict);
  if (const auto* choice = std::get_if<ChoiceAnswer>(&answer)) {
    judge_choice(item, choice->index, options.variation_seed, verdict);
  }
  if (std::holds_alternative<GiveUp>(answer)) judge_nothing(item, options.variation_seed, verdict);
  return verdict;
}

double quick_seconds(const Item& item) noexcept {
  const bool is_line = item.kind == Kind::write_the_bar || item.kind == Kind::hide_and_work_out;
  return is_line ? 3.0 * static_cast<double>(item.notes.size()) : 4.0;
}

bool is_in_another_octave(const Verdict& verdict) noexcept {
  const auto has_name = [](const MarkedNote& note) {
    return note.mark == Mark::tick || note.mark == Mark::octave;
  };
  return !verdict.is_right && !verdict.marks.empty() &&
         std::all_of(verdict.marks.begin(), verdict.marks.end(), has_name);
}

Grade grade_of(const Item& item, const Verdict& verdict, const Effort& effort) {
  // The fourth hint names the note, the fifth sounds it.
  if (effort.hint_count >= 4) return Grade::missed;
  if (is_in_another_octave(verdict)) return Grade::with_hints;
  if (!verdict.is_right) return Grade::missed;
  if (effort.hint_count > 0 || effort.wrong_try_count > 0) return Grade::with_hints;
  if (item.kind == Kind::play_it_back) {
    const bool is_late =
        verdict.late_seconds && std::abs(*verdict.late_seconds) > JudgeOptions{}.on_time_seconds;
    return is_late ? Grade::slow : Grade::at_once;
  }
  return effort.thinking_seconds <= quick_seconds(item) ? Grade::at_once : Grade::slow;
}

double points_of(const Verdict& verdict, const Effort& effort) {
  const double help = 0.2 * (effort.hint_count + effort.wrong_try_count);
  return std::max(0.0, verdict.share_right * (1.0 - help));
}

}  // namespace lowstride::drill
