#include "gui/model/drilling.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "src/drill/answer_text.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::desk {
namespace {

constexpr double slots_a_beat = 2.0;

}  // namespace

Result<std::unique_ptr<DrillEar>> open_ear(const DrillChoice& choice, const OpenInput& open_input) {
  if (choice.input == AnswerInput::none) return std::unique_ptr<DrillEar>();
  const bool is_device = choice.input == AnswerInput::device;
  if (!is_device && choice.answers.empty()) {
    return fail(ErrorCode::invalid_argument,
                "Choose the file in which the answers were played, or another way to answer.");
  }
  auto input = is_device ? open_input(choice.device) : audio::open_input_file(choice.answers);
  if (!input) return tl::unexpected(input.error());
  return std::make_unique<DrillEar>(std::make_unique<drill::Ear>(
      std::move(*input), is_device ? drill::kept_latency_seconds() : 0.0, is_device));
}

drill::Moment present_moment() {
  using std::chrono::duration;
  drill::Moment moment;
  moment.unix_seconds = std::chrono::duration_cast<std::chrono::seconds>(
                            std::chrono::system_clock::now().time_since_epoch())
                            .count();
  moment.steady_seconds =
      duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
  return moment;
}

Drilling::Drilling(drill::History history, DrillChoice choice)
    : choice_(std::move(choice)), history_(std::move(history)) {
  messages_ = history_.messages();
}

Result<std::unique_ptr<Drilling>> Drilling::open(const take::Take& take,
                                                 const std::filesystem::path& path,
                                                 const DrillChoice& choice,
                                                 const drill::Moment& now) {
  const auto file = drill::history_path(choice.player);
  if (!file) return tl::unexpected(file.error());
  auto history = drill::History::open(*file);
  if (!history) return tl::unexpected(history.error());
  drill::ItemOptions wanted;
  wanted.passage = choice.passage;
  wanted.kinds = choice.kinds;
  auto items = drill::items_of(take, wanted);
  if (items.empty()) {
    return fail(ErrorCode::not_found,
                "There is nothing to ask: drills are made from confirmed notes and chords; confirm "
                "some bars first.");
  }
  std::error_code error;
  const std::filesystem::path whole = std::filesystem::absolute(path, error);
  const drill::KnownTake known{drill::take_key_of(take), whole.string(), take.title};
  if (const auto kept = history->remember_take(known); !kept) return tl::unexpected(kept.error());
  const auto states = history->states();
  if (!states) return tl::unexpected(states.error());
  const auto weights = history->weights();
  if (!weights) return tl::unexpected(weights.error());
  std::unique_ptr<Drilling> drilling(new Drilling(std::move(*history), choice));
  drill::SessionOptions options;
  options.length_minutes = choice.minutes;
  options.seed = static_cast<std::uint32_t>(now.unix_seconds);
  drilling->session_ = std::make_unique<drill::Session>(
      std::move(items), *states, *weights, options,
      [self = drilling.get()](const drill::Item& item, const drill::AnswerRecord& answer) {
        return self->history_.record(item, answer);
      });
  return drilling;
}

std::vector<std::string> Drilling::take_messages() { return std::exchange(messages_, {}); }

void Drilling::begin(DrillSound* sound, DrillEar* ear, const drill::Moment& now) {
  sound_ = sound;
  ear_ = ear;
  const std::size_t due = session_->due_count(now.unix_seconds);
  drill::Turn turn = session_->begin(now);
  turn.says.insert(turn.says.begin(),
                   fmt::format("{} due, {} new.", due, session_->new_item_count()));
  has_new_item_ = true;
  take_in(std::move(turn), now);
}

void Drilling::play(std::vector<drill::SoundOrder> orders) {
  taps_.clear();
  ordered_.clear();
  if (ear_ != nullptr) ear_->stop();
  awaits_line_ = false;
  for (const drill::SoundOrder& order : orders) {
    ordered_.push_back(order.what);
    awaits_line_ = awaits_line_ || order.is_accompaniment;
  }
  if (sound_ == nullptr) return say_what_to_hear();
  is_sounding_ = true;
  sound_->play(std::move(orders));
}

/// Once nothing sounds any more: what is played from now on is the answer. A line is played over
/// its accompaniment, and after another sound (a hint) the clicks are asked for anew.
void Drilling::await_played() {
  if (ear_ == nullptr || phase() != drill::Phase::asking) return;
  if (ear_->is_listening()) return ear_->sound_ended();
  if (item().kind == drill::Kind::find_the_note || std::exchange(awaits_line_, false)) {
    ear_->listen(item(), speed_ratio(), false);
  }
}

void Drilling::hush() {
  if (sound_ != nullptr) sound_->stop();
  if (ear_ != nullptr) ear_->stop();
  is_sounding_ = false;
}

void Drilling::take_in_played(const drill::Moment& now) {
  if (ear_ == nullptr) return;
  auto heard = ear_->heard();
  if (!heard || phase() != drill::Phase::asking) return;
  if (!heard->played) {
    messages_.emplace_back("The file of answers has ended; type or click the rest.");
    ear_ = nullptr;
    return;
  }
  if (!*heard->played) {
    messages_.push_back((*heard->played).error().message);
    ear_ = nullptr;
    return;
  }
  drill::PlayedAnswer played = std::move(**heard->played);
  if (!played.heard.empty()) says_.push_back(std::move(played.heard));
  answer(played.answer, now);
}

void Drilling::say_what_to_hear() {
  for (const std::string& what : ordered_) says_.push_back(fmt::format("(hear {})", what));
}

void Drilling::take_in(drill::Turn turn, const drill::Moment& now) {
  if (std::exchange(has_new_item_, false)) {
    says_.clear();
    verdict_.reset();
    written_.clear();
    taps_.clear();
    cursor_slot = 0;
  }
  std::ranges::move(turn.says, std::back_inserter(says_));
  if (turn.lost) messages_.push_back(*turn.lost);
  if (turn.verdict) verdict_ = std::move(turn.verdict);
  if (!turn.sounds.empty()) {
    play(std::move(turn.sounds));
    if (sound_ == nullptr) {
      session_->sound_ended(now);
      await_played();
    }
  }
}

void Drilling::poll(const drill::Moment& now) {
  take_in_played(now);
  if (sound_ == nullptr || !is_sounding_) return;
  if (const DrillSound::Heard heard = sound_->now(); heard.order != nullptr) {
    if (ear_ == nullptr || !heard.order->is_accompaniment) return;
    if (std::exchange(awaits_line_, false)) ear_->listen(item(), speed_ratio(), true);
    return ear_->sounding(heard.seconds);
  }
  is_sounding_ = false;
  if (const std::string notice = sound_->notice(); !notice.empty()) {
    messages_.push_back(notice + " Until then it is said what to listen to.");
    sound_ = nullptr;
    say_what_to_hear();
  }
  session_->sound_ended(now);
  await_played();
  if (!taps_.empty() && phase() == drill::Phase::asking) answer(drill::TapAnswer{taps_}, now);
}

void Drilling::type(const std::string& text, const drill::Moment& now) {
  if (phase() == drill::Phase::done) return;
  if (phase() != drill::Phase::asking) return go_on(now);
  if (text.empty()) {
    if (!taps_.empty()) return answer(drill::TapAnswer{taps_}, now);
    if (is_tab_asked() && !written_.empty()) return hand_in(now);
    return hear_again(now);
  }
  if (text == "?") return hint(now);
  if (text == "!") return answer(drill::GiveUp{}, now);
  const auto understood = drill::parse_answer(item(), text);
  if (understood) {
    answer(*understood, now);
  } else {
    says_.push_back(understood.error().message);
  }
}

void Drilling::answer(const drill::Answer& answer, const drill::Moment& now) {
  if (phase() != drill::Phase::asking || !drill::fits(item(), answer)) return;
  hush();
  taps_.clear();
  take_in(session_->answer(answer, now), now);
}

void Drilling::hint(const drill::Moment& now) {
  if (phase() == drill::Phase::asking) take_in(session_->hint(now), now);
}

void Drilling::hear_again(const drill::Moment& now) {
  if (phase() == drill::Phase::asking) take_in(session_->hear_again(now), now);
}

void Drilling::go_on(const drill::Moment& now) {
  if (phase() == drill::Phase::asking || phase() == drill::Phase::done) return;
  hush();
  has_new_item_ = true;
  take_in(session_->go_on(now), now);
}

void Drilling::stop(const drill::Moment& now) {
  hush();
  if (phase() == drill::Phase::done) return;
  has_new_item_ = true;
  take_in(session_->stop(now), now);
}

bool Drilling::is_tab_asked() const {
  if (phase() != drill::Phase::asking) return false;
  const drill::Kind kind = item().kind;
  // Without an ear a line that could be played is written down.
  return kind == drill::Kind::write_the_bar || kind == drill::Kind::hide_and_work_out ||
         (kind == drill::Kind::play_it_back && ear_ == nullptr);
}

int Drilling::slot_count() const {
  return static_cast<int>(std::lround(item().beat_count() * slots_a_beat));
}

void Drilling::put(int string_number, int fret, const drill::Moment& now) {
  if (phase() != drill::Phase::asking || string_number < 1 ||
      string_number > item().neck.string_count() || fret < 0 ||
      fret > neck::last_fret(item().neck)) {
    return;
  }
  if (item().kind == drill::Kind::find_the_note) {
    drill::NoteAnswer one;
    one.note.midi =
        neck::sounding_midi(item().neck, string_number, fret) - 12 * item().octave_shift;
    return answer(one, now);
  }
  if (!is_tab_asked()) return;
  rub_out(cursor_slot);
  written_.push_back({cursor_slot, string_number, fret});
  std::ranges::sort(written_, {}, &WrittenNote::slot);
}

void Drilling::rub_out(int slot) {
  std::erase_if(written_, [slot](const WrittenNote& note) { return note.slot == slot; });
}

void Drilling::hand_in(const drill::Moment& now) {
  if (!is_tab_asked()) return;
  drill::LineAnswer line;
  for (const WrittenNote& note : written_) {
    drill::AnsweredNote one;
    one.beat = note.slot / slots_a_beat;
    one.midi =
        neck::sounding_midi(item().neck, note.string_number, note.fret) - 12 * item().octave_shift;
    line.notes.push_back(one);
  }
  answer(line, now);
}

void Drilling::tap() {
  if (sound_ == nullptr || phase() != drill::Phase::asking ||
      item().kind != drill::Kind::spot_the_change) {
    return;
  }
  const DrillSound::Heard heard = sound_->now();
  if (heard.order == nullptr) return;
  taps_.push_back(drill::beat_heard_at(item(), heard.order->speed_ratio, heard.seconds));
}

Result<drill::Progress> Drilling::progress() const {
  const auto answers = history_.answers();
  if (!answers) return tl::unexpected(answers.error());
  return drill::progress_of(*answers);
}

}  // namespace lowstride::desk
