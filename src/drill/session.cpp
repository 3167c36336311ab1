#include "src/drill/session.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "dsp/base/contracts.hpp"
#include "src/drill/hint.hpp"
#include "src/drill/variation.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::drill {
namespace {

constexpr double minute_seconds = 60.0;

double length_of(const std::vector<SoundOrder>& sounds) {
  double seconds = 0.0;
  for (const SoundOrder& order : sounds) seconds += order.length_seconds;
  return seconds;
}

bool is_line(Kind kind) {
  return kind == Kind::write_the_bar || kind == Kind::play_it_back ||
         kind == Kind::hide_and_work_out;
}

/// Lines come back marked, and a single note whose octave is another one.
bool shows_marks(const Item& item, const Verdict& verdict) {
  return is_line(item.kind) || is_in_another_octave(verdict);
}

/// " (80 ms late)" for a played note that is off the beat by more than a line may be.
std::string time_text(const MarkedNote& note) {
  if (!note.late_seconds || std::abs(*note.late_seconds) <= JudgeOptions{}.on_time_seconds) {
    return {};
  }
  return fmt::format(" ({:.0f} ms {})", 1000.0 * std::abs(*note.late_seconds),
                     *note.late_seconds > 0.0 ? "late" : "early");
}

/// "G2 ok   B2 8ve   -- open"; of a played line with the time of each note: "D3 ok (80 ms late)".
std::string marks_text(const Item& item, const Verdict& verdict) {
  std::string text;
  for (const MarkedNote& note : verdict.marks) {
    const std::string heard =
        note.heard_midi ? theory::pitch_text(*note.heard_midi, item.tune_key) : std::string("--");
    text += fmt::format("{}{} {}{}", text.empty() ? "" : "   ", heard, mark_text(note.mark),
                        time_text(note));
  }
  return text;
}

double speed_of(const Candidate& candidate) {
  const int step = candidate.state != nullptr ? candidate.state->speed_step : first_speed_step;
  return speed_steps[static_cast<std::size_t>(step)];
}

std::string right_line(const Item& item) {
  std::string text;
  for (const ItemNote& note : item.notes) {
    const int whole = static_cast<int>(note.beat + 0.05);
    const bool is_off_beat = note.beat - whole > 0.2;
    text += text.empty() ? "" : "  ";
    if (is_off_beat)
      text += fmt::format("@{:.1f} ", whole % item.beats_per_bar + 1 + note.beat - whole);
    text += note.is_dead ? std::string("x") : theory::pitch_text(note.midi, item.tune_key);
    if (note.position && !note.is_dead) {
      text += fmt::format(" ({}/{})", note.position->string_number, note.position->fret);
    }
  }
  return text;
}

}  // namespace

const std::vector<std::string>& care_words() {
  static const std::vector<std::string> words{
      "Start quietly: low notes are louder than they seem, in headphones most of all.",
      "Rest after twenty minutes; stop when a hand hurts or an ear rings, and ask a doctor or a "
      "hand therapist if it stays."};
  return words;
}

Session::Session(ItemBook book, const std::vector<ItemState>& states, const Weights& weights,
                 const SessionOptions& options, Recorder recorder)
    : book_(std::move(book)), weights_(weights), options_(options), recorder_(std::move(recorder)) {
  std::map<std::uint64_t, const ItemState*> known;
  for (const ItemState& state : states) known.emplace(key_hash_of(state.key), &state);
  candidates_.reserve(book_.entries().size());
  for (const BookEntry& entry : book_.entries()) {
    Candidate candidate;
    candidate.kind = entry.kind;
    candidate.take_index = entry.take_index;
    candidate.place_samples = entry.place_samples;
    if (const auto found = known.find(entry.key_hash); found != known.end()) {
      states_.push_back(*found->second);
      candidate.state = &states_.back();
    }
    candidates_.push_back(candidate);
  }
  context_.most_new = options_.most_new;
  context_.seed = options_.seed;
}

const Item& Session::item() const {
  LOWSTRIDE_EXPECTS(!context_.asked.empty());
  return item_;
}

double Session::speed_ratio() const noexcept {
  return current_ < candidates_.size() ? speed_of(candidates_[current_]) : 1.0;
}

int Session::variation_seed() const noexcept {
  if (current_ >= candidates_.size()) return 0;
  const ItemState* state = candidates_[current_].state;
  return state != nullptr ? state->answer_count : 0;
}

std::size_t Session::due_count(UnixSeconds now) const noexcept {
  return static_cast<std::size_t>(
      std::count_if(candidates_.begin(), candidates_.end(), [&](const Candidate& one) {
        return one.state != nullptr && !one.is_gone && is_due(*one.state, now);
      }));
}

std::size_t Session::new_item_count() const noexcept {
  return static_cast<std::size_t>(
      std::count_if(candidates_.begin(), candidates_.end(),
                    [](const Candidate& one) { return one.state == nullptr && !one.is_gone; }));
}

void Session::await_sounds(Turn& turn, const Moment& now) {
  if (fades_in_ && !turn.sounds.empty()) {
    turn.sounds.front().fade_in_seconds = options_.fade_in_seconds;
    fades_in_ = false;
  }
  sound_end_seconds_ = now.steady_seconds + length_of(turn.sounds);
}

Turn Session::begin(const Moment& now) {
  began_seconds_ = now.steady_seconds;
  rested_seconds_ = now.steady_seconds;
  context_.now = now.unix_seconds;
  Turn turn;
  Item item;
  std::vector<std::string> says = care_words();
  const auto first = options_.has_warm_up ? next_item(item, says) : std::nullopt;
  turn = first ? listen(now, *first, item, "To warm up, just listen. Nothing is asked.")
               : ask_next(now);
  turn.says.insert(turn.says.begin(), says.begin(), says.end());
  return turn;
}

/// Chooses and makes the next item. What cannot be made is out of this session.
std::optional<std::size_t> Session::next_item(Item& item, std::vector<std::string>& says) {
  for (;;) {
    const auto next = choose_next(candidates_, weights_, context_);
    if (!next) return std::nullopt;
    auto made = book_.item(*next);
    if (made && *made) {
      item = std::move(**made);
      return next;
    }
    candidates_[*next].is_gone = true;
    if (made) continue;
    says.push_back(made.error().message);
    for (Candidate& other : candidates_) {
      if (other.take_index == candidates_[*next].take_index) other.is_gone = true;
    }
  }
}

Turn Session::listen(const Moment& now, std::size_t index, const Item& item,
                     const std::string& why) {
  since_listening_ = 0;
  phase_ = Phase::listening;
  Turn turn;
  turn.phase = phase_;
  turn.says.push_back(why);
  turn.sounds.push_back(stretch_sound(item, speed_of(candidates_[index])));
  await_sounds(turn, now);
  return turn;
}

Turn Session::ask_next(const Moment& now) {
  const double passed = now.steady_seconds - began_seconds_;
  if (passed >= options_.length_minutes * minute_seconds) return finish(now);
  if (now.steady_seconds - rested_seconds_ >= options_.rest_after_minutes * minute_seconds) {
    rested_seconds_ = now.steady_seconds;
    fades_in_ = true;
    phase_ = Phase::resting;
    Turn turn;
    turn.phase = phase_;
    turn.says.push_back(fmt::format(
        "{:.0f} minutes: a good moment to rest ears and hands for five.", passed / minute_seconds));
    return turn;
  }
  context_.now = now.unix_seconds;
  Turn turn;
  Item item;
  const auto next = next_item(item, turn.says);
  const bool just_listens =
      next && options_.listen_every > 0 && since_listening_ >= options_.listen_every;
  if (!next || just_listens) {
    Turn other =
        next ? listen(now, *next, item, "Just listen for once; nothing is asked.") : finish(now);
    other.says.insert(other.says.begin(), turn.says.begin(), turn.says.end());
    return other;
  }
  current_ = *next;
  item_ = std::move(item);
  context_.asked.push_back(*next);
  if (candidates_[current_].state == nullptr) ++context_.new_count;
  effort_ = {};
  first_try_.reset();
  hint_step_ = 0;
  hint_note_ = is_line(item_.kind) ? 0 : item_.asked;
  phase_ = Phase::asking;
  turn.phase = phase_;
  turn.says.push_back(question_text());
  turn.sounds = question_sounds();
  await_sounds(turn, now);
  return turn;
}

std::string Session::question_text() const {
  const Item& item = item_;
  const std::string heard = fmt::format("{} at {:.0f} %", item.place, 100.0 * speed_ratio());
  switch (item.kind) {
    case Kind::find_the_note:
      return fmt::format("Find the note: {}. Which note is played on {}?", heard,
                         beat_text(item, item.notes[item.asked].beat));
    case Kind::name_the_role:
      return fmt::format("Name the role: {}. What is the note on {} against its chord?", heard,
                         beat_text(item, item.notes[item.asked].beat));
    case Kind::spot_the_change:
      return fmt::format("Spot the change: {}. On which beat does the chord change?", heard);
    case Kind::name_the_chord:
      return fmt::format("Name the chord: {}, from {}. Which chord is it, over which bass note?",
                         heard, beat_text(item, std::max(0.0, item.chords[item.asked].beat)));
    case Kind::write_the_bar:
      return fmt::format("Write the bar: {}. Fill it in.", heard);
    case Kind::play_it_back:
      return fmt::format("Play it back: {}. Listen, then play or sing the line after the clicks.",
                         heard);
    case Kind::which_is_it:
      return fmt::format("Which is it: {}, then two versions, A and B. Which one was played?",
                         heard);
    case Kind::hide_and_work_out:
      break;
  }
  return fmt::format("Work it out: {}. Take the line down; it is compared at the end only.", heard);
}

std::vector<SoundOrder> Session::question_sounds() {
  const Item& item = item_;
  const double speed = speed_ratio();
  std::vector<SoundOrder> sounds;
  // A tonic in the ear comes before any degree (Karpinski; Marvin; both MTO 27.2, 2021).
  const bool needs_tonic = item.kind != Kind::spot_the_change && item.kind != Kind::which_is_it;
  if (needs_tonic) {
    SoundOrder tonic = tonic_sound(item);
    if (!tonic.tones.empty()) sounds.push_back(std::move(tonic));
  }
  sounds.push_back(stretch_sound(item, speed));
  if (item.kind == Kind::name_the_role) {
    const ItemNote& note = item.notes[item.asked];
    const ItemChord* chord = &item.chords.front();
    for (const ItemChord& one : item.chords) {
      if (one.beat <= note.beat + 0.1) chord = &one;
    }
    sounds.push_back(chord_sound(item, *chord, note.midi));
  }
  if (item.kind == Kind::name_the_chord) sounds.push_back(stretch_sound(item, speed));  // looped
  if (item.kind == Kind::play_it_back) sounds.push_back(accompaniment_sound(item, speed));
  if (item.kind == Kind::which_is_it) {
    const Variation variation = vary(item, variation_seed());
    sounds.push_back(line_sound(item, variation.first, speed, "A"));
    sounds.push_back(line_sound(item, variation.second, speed, "B"));
  }
  return sounds;
}

Turn Session::hear_again(const Moment& now) {
  LOWSTRIDE_EXPECTS(phase_ == Phase::asking);
  Turn turn;
  turn.phase = phase_;
  turn.sounds = question_sounds();
  await_sounds(turn, now);
  return turn;
}

Turn Session::hint(const Moment& now) {
  LOWSTRIDE_EXPECTS(phase_ == Phase::asking);
  Turn turn;
  turn.phase = phase_;
  const Item& item = item_;
  const auto hint = hint_for(item, hint_step_ + 1, hint_note_);
  if (!hint) {
    turn.says.push_back(item.kind == Kind::which_is_it || item.kind == Kind::hide_and_work_out
                            ? "There are no hints here."
                            : "There is no further hint.");
    return turn;
  }
  hint_step_ = static_cast<int>(hint->step) + 1;
  effort_.hint_count = hint_step_;
  turn.says.push_back(hint->text);
  if (hint->note) {
    std::vector<ItemNote> one{item.notes[*hint->note]};
    one.front().beat = 0.0;
    one.front().length_beats = 2.0;
    turn.sounds.push_back(line_sound(item, one, 1.0, "the note"));
  } else if (hint->step == HintStep::sound) {
    turn.sounds.push_back(item.kind == Kind::name_the_chord
                              ? chord_sound(item, item.chords[item.asked], std::nullopt)
                              : stretch_sound(item, speed_steps.front()));
  }
  await_sounds(turn, now);
  return turn;
}

Turn Session::answer(const Answer& answer, const Moment& now) {
  LOWSTRIDE_EXPECTS(phase_ == Phase::asking);
  const Item& item = item_;
  LOWSTRIDE_EXPECTS(fits(item, answer));
  if (effort_.wrong_try_count == 0) {
    effort_.thinking_seconds = std::max(0.0, now.steady_seconds - sound_end_seconds_);
  }
  JudgeOptions judging;
  judging.speed_ratio = speed_ratio();
  judging.variation_seed = variation_seed();
  const Verdict verdict = judge(item, answer, judging);
  Turn turn;
  turn.verdict = verdict;
  const bool may_try_again = !verdict.is_right && !std::holds_alternative<GiveUp>(answer) &&
                             effort_.wrong_try_count + 1 < options_.tries &&
                             item.kind != Kind::which_is_it && item.kind != Kind::hide_and_work_out;
  if (may_try_again) {
    ++effort_.wrong_try_count;
    if (!first_try_) first_try_ = verdict;
    turn.phase = phase_;
    if (shows_marks(item, verdict)) turn.says.push_back(marks_text(item, verdict));
    if (is_line(item.kind)) {
      std::size_t index = 0;
      for (const MarkedNote& note : verdict.marks) {
        if (note.mark == Mark::extra) continue;
        if (note.mark != Mark::tick) break;
        ++index;
      }
      hint_note_ = std::min(index, item.notes.size() - 1);
    }
    if (item.kind == Kind::play_it_back) {
      turn.sounds.push_back(accompaniment_sound(item, speed_ratio()));
      await_sounds(turn, now);
    }
    turn.says.push_back(fmt::format("Not yet. {}{}Try again, or ask for a hint.", verdict.remark,
                                    verdict.remark.empty() ? "" : " "));
    return turn;
  }
  return give_feedback(std::move(turn), verdict, now);
}

Turn Session::give_feedback(Turn turn, const Verdict& verdict, const Moment& now) {
  const Item& item = item_;
  const Grade grade = grade_of(item, verdict, effort_);
  const auto kept = recorder_(
      item, record_of(item, verdict, effort_, grade, speed_ratio(), now.unix_seconds, first_try_));
  if (shows_marks(item, verdict)) turn.says.push_back(marks_text(item, verdict));
  const std::string right = is_line(item.kind) ? right_line(item) : verdict.right;
  turn.says.push_back(verdict.is_right ? fmt::format("Right: {}. {}", right, verdict.remark)
                                       : fmt::format("It was: {}. {}", right, verdict.remark));
  turn.grade = grade;
  if (kept) {
    states_.push_back(*kept);
    candidates_[current_].state = &states_.back();
    turn.says.push_back(fmt::format("Graded: {}{}.", grade_text(grade),
                                    is_in_another_octave(verdict) ? ", for the octave" : ""));
  } else {
    turn.lost = kept.error().message;
  }
  ++summary_.item_count;
  summary_.right_count += verdict.is_right ? 1 : 0;
  summary_.new_count = context_.new_count;
  summary_.points += points_of(verdict, effort_);
  summary_.minutes = (now.steady_seconds - began_seconds_) / minute_seconds;
  ++since_listening_;
  phase_ = Phase::feedback;
  turn.phase = phase_;
  // Wrong answers are heard once more with the solution in sight.
  if (!verdict.is_right) turn.sounds.push_back(stretch_sound(item, speed_ratio()));
  await_sounds(turn, now);
  return turn;
}

Turn Session::go_on(const Moment& now) {
  LOWSTRIDE_EXPECTS(phase_ != Phase::asking);
  if (phase_ == Phase::done) return finish(now);
  return ask_next(now);
}

Turn Session::stop(const Moment& now) { return finish(now); }

Turn Session::finish(const Moment& now) {
  phase_ = Phase::done;
  summary_.minutes = (now.steady_seconds - began_seconds_) / minute_seconds;
  Turn turn;
  turn.phase = phase_;
  if (summary_.item_count == 0) {
    turn.says.push_back("Nothing was answered.");
    return turn;
  }
  turn.says.push_back(fmt::format("{} of {} right in {:.0f} minutes, {} of them new.",
                                  summary_.right_count, summary_.item_count,
                                  std::max(1.0, summary_.minutes), summary_.new_count));
  return turn;
}

}  // namespace lowstride::drill
