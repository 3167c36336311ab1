#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "gui/draw/desk.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::desk {
namespace {

constexpr double speed_step = 0.05;

std::int64_t whole(double sample) { return static_cast<std::int64_t>(std::llround(sample)); }

}  // namespace

void Desk::follow_sound() {
  if (!hearing_) return;
  const HearingStatus status = hearing_->status();
  if (!status.trouble.empty()) notices_.push_back(status.trouble);
  if (!status.is_playing) {
    state_.playing_samples.reset();
    return;
  }
  // Round the loop once more: the next repeat may be faster.
  if (ramp_to_ > 0.0 && state_.is_loop_on && status.place_samples < last_place_ - 1000.0) {
    hear_.speed_ratio = std::min(ramp_to_, hear_.speed_ratio + 0.05);
    hearing_changed();
  }
  last_place_ = status.place_samples;
  state_.playing_samples = status.place_samples;
  if (!state_.follows_playing || pointer_.is_dragging()) return;
  const double right = state_.axis.begin_samples +
                       0.9 * static_cast<double>(state_.axis.width_px) * state_.axis.samples_per_px;
  if (status.place_samples > right || status.place_samples < state_.axis.begin_samples) {
    state_.axis = revealing(state_.axis, status.place_samples, session_.take().length_samples);
    state_.axis.begin_samples =
        status.place_samples -
        0.1 * static_cast<double>(state_.axis.width_px) * state_.axis.samples_per_px;
    state_.axis = moved(state_.axis, 0.0, session_.take().length_samples);
  }
}

void Desk::hearing_changed() {
  hear_.loop = state_.is_loop_on ? state_.range : std::nullopt;
  if (hearing_) hearing_->set(hear_);
}

void Desk::play_from(std::int64_t sample) {
  if (!hearing_) {
    say("There is nothing to play with.");
    return;
  }
  compared_.reset();
  hearing_->play_from(std::clamp<std::int64_t>(sample, 0, session_.take().length_samples));
}

void Desk::loop_selection() {
  const take::Take& take = session_.take();
  const auto at_hand = stretch_at_hand();
  if (!at_hand) {
    say("Select notes, a chord or a passage, or mark a stretch, first.");
    return;
  }
  take::Stretch stretch = *at_hand;
  if (!state_.notes.empty()) {
    // What leads to it and from it belongs to what one hears.
    const std::int64_t margin = take.time_base_hz / 4;
    stretch = {std::max<std::int64_t>(0, stretch.begin_samples - margin),
               std::min(take.length_samples, stretch.end_samples + margin)};
  }
  state_.range = stretch;
  state_.is_loop_on = true;
  if (hear_.speed_ratio > settings_.slow_speed) {
    fast_speed_ = hear_.speed_ratio;
    hear_.speed_ratio = settings_.slow_speed;
  }
  hearing_changed();
  play_from(stretch.begin_samples);
}

void Desk::tap_beat() {
  if (!state_.playing_samples) {
    say("Play first, then tap along; the beats appear when you stop tapping.");
    return;
  }
  taps_.push_back(whole(*state_.playing_samples));
  last_tap_seconds_ = clock_seconds_;
  say(fmt::format("{} beats tapped; stop and they are set.", taps_.size()));
}

void Desk::finish_taps() {
  if (taps_.empty()) return;
  apply(tapped_beats(session_.take(), taps_));
  taps_.clear();
}

void Desk::compare_candidates() {
  const auto index = note_at_hand();
  if (!index) {
    say("Select a note first.");
    return;
  }
  const take::Note& note = session_.take().notes[*index];
  if (note.alternatives.empty()) {
    say("There is no other candidate to compare with.");
    return;
  }
  if (!hearing_) return;
  const bool is_other = compared_ && compared_->id == note.id && !compared_->is_other;
  take::Take heard = session_.take();
  if (is_other) heard.notes[*index].midi = note.alternatives.front().midi;
  if (!compared_ || compared_->id != note.id || !state_.playing_samples) {
    hear_.line = LineHeard::beside;
    loop_selection();
  }
  hearing_->set_take(heard);
  compared_ = Compared{note.id, is_other};
  const auto key = take::key_of(session_.take());
  say(fmt::format("Heard beside the recording: {}. {} again for the other.",
                  theory::pitch_text(heard.notes[*index].midi, key),
                  key_text(settings_.keys.key_of(Action::compare))));
}

void Desk::set_low_voice(Action action) {
  if (session_.recording().empty())
    return say("The low voice is that of a recording; none is here.");
  audio::LowVoiceSettings& voice = hear_.low_voice;
  if (action == Action::low_voice) {
    voice.use = static_cast<audio::LowVoiceUse>((static_cast<int>(voice.use) + 1) % 4);
  } else {
    voice.octave_up = !voice.octave_up;
  }
  hearing_changed();
  static constexpr const char* uses[] = {"Low voice as it is", "Low voice brought forward",
                                         "Low voice alone", "Low voice taken out"};
  const bool is_moved = voice.octave_up && voice.use != audio::LowVoiceUse::minus;
  std::string sentence = uses[static_cast<int>(voice.use)];
  if (is_moved) sentence += ", an octave up";
  if (voice != audio::LowVoiceSettings{}) {
    sentence += session_.take().notes.empty() ? ", found by the low band"
                                              : ", found by the notes as written";
  }
  say(std::move(sentence));
}

void Desk::run_hearing(Action action) {
  switch (action) {
    case Action::play:
      if (state_.playing_samples && hearing_) {
        hearing_->stop();
        finish_taps();
        if (compared_) {
          compared_.reset();
          hearing_->set_take(session_.take());
        }
      } else {
        play_from(whole(state_.cursor_samples));
      }
      return;
    case Action::play_selection:
      loop_selection();
      return;
    case Action::play_from_start:
      go_to(0);
      play_from(0);
      return;
    case Action::loop:
      if (!state_.range) state_.range = stretch_at_hand();
      if (!state_.range) {
        say("Drag over the bar numbers to mark a stretch.");
        return;
      }
      state_.is_loop_on = !state_.is_loop_on;
      break;
    case Action::slower:
      hear_.speed_ratio = std::max(audio::lowest_speed_ratio, hear_.speed_ratio - speed_step);
      break;
    case Action::faster:
      hear_.speed_ratio = std::min(audio::highest_speed_ratio, hear_.speed_ratio + speed_step);
      break;
    case Action::usual_speed:
      hear_.speed_ratio = std::abs(hear_.speed_ratio - 1.0) < 1e-6 ? 0.5 : 1.0;
      break;
    case Action::pitch_down:
      hear_.shift_semitones =
          std::max(-audio::largest_shift_semitones, hear_.shift_semitones - 1.0);
      break;
    case Action::pitch_up:
      hear_.shift_semitones = std::min(audio::largest_shift_semitones, hear_.shift_semitones + 1.0);
      break;
    case Action::usual_pitch:
      hear_.shift_semitones = 0.0;
      break;
    case Action::click:
      hear_.click = static_cast<audio::ClickPattern>((static_cast<int>(hear_.click) + 1) % 4);
      break;
    case Action::count_in:
      hear_.count_in_bars = (hear_.count_in_bars + 1) % 3;
      break;
    case Action::line:
      hear_.line = static_cast<LineHeard>((static_cast<int>(hear_.line) + 1) % 3);
      break;
    case Action::low_voice:
    case Action::octave_up:
      return set_low_voice(action);
    case Action::compare:
      compare_candidates();
      return;
    case Action::ramp:
      ramp_to_ = ramp_to_ > 0.0 ? 0.0 : 1.0;
      say(ramp_to_ > 0.0 ? "Each repeat is 5 % faster, up to full speed."
                         : "Repeats keep their speed.");
      return;
    default:
      return;
  }
  hearing_changed();
  say(fmt::format("Speed {:.0f} %, {}{}", hear_.speed_ratio * 100.0,
                  hear_.shift_semitones == 0.0
                      ? std::string("own pitch")
                      : fmt::format("{:+.0f} semitones", hear_.shift_semitones),
                  state_.is_loop_on ? ", looping" : ""));
}

}  // namespace lowstride::desk
