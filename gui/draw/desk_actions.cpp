#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "gui/draw/desk.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"
#include "src/sheet/harmony.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::desk {
namespace {

constexpr double speed_step = 0.05;
/// Ten milliseconds: a nudge that the ear tells from none.
constexpr std::int64_t nudges_a_second = 100;
/// A tenth of a second.
constexpr std::int64_t ahead_share = 10;

std::int64_t whole(double sample) { return static_cast<std::int64_t>(std::llround(sample)); }

}  // namespace

void Desk::say(std::string sentence) {
  status_ = std::move(sentence);
  status_seconds_ = clock_seconds_;
}

void Desk::apply(const Result<take::Edit>& edit) {
  if (!edit) {
    say(edit.error().message);
    return;
  }
  const std::string name = take::describe(*edit);
  if (const auto done = session_.apply(*edit); !done) {
    say(done.error().message);
    return;
  }
  keep_selection_valid(state_, session_.take());
  say(name);
}

std::optional<std::size_t> Desk::note_at_hand() const {
  if (!state_.notes.empty()) return index_of(session_.take(), state_.notes.front());
  return std::nullopt;
}

std::optional<std::size_t> Desk::chord_at_hand() const {
  if (state_.chord) return index_of(session_.take(), *state_.chord);
  if (const auto index = note_at_hand()) {
    // A note struck just ahead of a change belongs to the new chord.
    const take::Note& note = session_.take().notes[*index];
    const std::int64_t ahead = std::min((note.offset_samples - note.onset_samples) / 2,
                                        session_.take().time_base_hz / ahead_share);
    return chord_at(session_.take(), static_cast<double>(note.onset_samples + ahead));
  }
  return chord_at(session_.take(),
                  state_.cursor_samples +
                      static_cast<double>(session_.take().time_base_hz) / (2.0 * ahead_share));
}

std::optional<take::Stretch> Desk::stretch_at_hand() const {
  const take::Take& take = session_.take();
  if (!state_.notes.empty()) {
    std::optional<take::Stretch> stretch;
    for (const take::NoteId id : state_.notes) {
      const auto index = index_of(take, id);
      if (!index) continue;
      const take::Note& note = take.notes[*index];
      if (!stretch) stretch = take::Stretch{note.onset_samples, note.offset_samples};
      stretch->begin_samples = std::min(stretch->begin_samples, note.onset_samples);
      stretch->end_samples = std::max(stretch->end_samples, note.offset_samples);
    }
    return stretch;
  }
  if (state_.chord) {
    if (const auto index = index_of(take, *state_.chord)) {
      return take::Stretch{take.chords[*index].begin_samples, take.chords[*index].end_samples};
    }
  }
  if (state_.passage) {
    if (const auto index = index_of(take, *state_.passage)) {
      return take::Stretch{take.passages[*index].begin_samples, take.passages[*index].end_samples};
    }
  }
  return state_.range;
}

Selected Desk::selected() const { return {state_.notes, state_.chord, state_.beat}; }

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

void Desk::go_to(std::int64_t sample) {
  state_.cursor_samples =
      static_cast<double>(std::clamp<std::int64_t>(sample, 0, session_.take().length_samples));
  state_.axis = revealing(state_.axis, state_.cursor_samples, session_.take().length_samples);
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

void Desk::select_doubt(const Doubt& doubt, bool loops_it) {
  const take::Take& take = session_.take();
  state_.clear_selection();
  if (doubt.kind == Doubt::Kind::note) {
    state_.notes.push_back(take.notes[doubt.index].id);
  } else {
    state_.chord = take.chords[doubt.index].id;
  }
  go_to(doubt.at_samples);
  if (loops_it && hearing_) loop_selection();
}

void Desk::go_to_doubt(int direction) {
  const std::vector<Doubt>& doubts = session_.digest(state_.doubt_threshold).doubts;
  if (doubts.empty()) {
    say("Nothing is in doubt.");
    return;
  }
  std::vector<Doubt> sorted = doubts;
  if (state_.are_doubts_by_certainty) {
    std::stable_sort(sorted.begin(), sorted.end(),
                     [](const Doubt& a, const Doubt& b) { return a.certainty < b.certainty; });
  }
  const take::Take& take = session_.take();
  const auto is_current = [&](const Doubt& doubt) {
    return doubt.kind == Doubt::Kind::note ? state_.is_selected(take.notes[doubt.index].id)
                                           : state_.chord == take.chords[doubt.index].id;
  };
  const auto at = std::ranges::find_if(sorted, is_current);
  const auto count = static_cast<std::ptrdiff_t>(sorted.size());
  std::ptrdiff_t next = 0;
  if (at != sorted.end()) {
    next = ((at - sorted.begin()) + direction + count) % count;
  } else if (!state_.are_doubts_by_certainty) {
    const auto after = std::ranges::find_if(sorted, [&](const Doubt& doubt) {
      return static_cast<double>(doubt.at_samples) >= state_.cursor_samples - 1.0;
    });
    next = after - sorted.begin();
    if (direction < 0) --next;
    next = (next + count) % count;
  }
  select_doubt(sorted[static_cast<std::size_t>(next)], true);
  say(fmt::format("Doubt {} of {}. Right: {}. Else type the fret, {} another candidate, or {}.",
                  next + 1, count, key_text(settings_.keys.key_of(Action::confirm)),
                  key_text(settings_.keys.key_of(Action::next_candidate)),
                  key_text(settings_.keys.key_of(Action::doubt_and_next))));
}

void Desk::step_note(int direction, bool extends) {
  const take::Take& take = session_.take();
  if (take.notes.empty()) return;
  const auto last = static_cast<std::ptrdiff_t>(take.notes.size()) - 1;
  std::ptrdiff_t next = 0;
  const auto current = state_.notes.empty()
                           ? std::nullopt
                           : index_of(take, extends ? state_.notes.back() : state_.notes.front());
  if (current) {
    next = std::clamp(static_cast<std::ptrdiff_t>(*current) + direction, std::ptrdiff_t{0}, last);
  } else {
    next = static_cast<std::ptrdiff_t>(first_note_from(take, state_.cursor_samples));
    if (direction < 0) --next;
    next = std::clamp(next, std::ptrdiff_t{0}, last);
  }
  const take::NoteId id = take.notes[static_cast<std::size_t>(next)].id;
  if (!extends) {
    state_.select_only(id);
  } else if (state_.notes.size() > 1 && state_.notes[state_.notes.size() - 2] == id) {
    state_.notes.pop_back();
  } else if (!state_.is_selected(id)) {
    state_.notes.push_back(id);
  }
  go_to(take.notes[static_cast<std::size_t>(next)].onset_samples);
}

void Desk::step_bar(int direction) {
  const Digest& digest = session_.digest(state_.doubt_threshold);
  if (digest.bars.empty()) return;
  const auto last = static_cast<std::ptrdiff_t>(digest.bars.size()) - 1;
  const auto here = bar_at(digest, state_.cursor_samples);
  std::ptrdiff_t next = here ? static_cast<std::ptrdiff_t>(*here) : -1;
  const bool is_inside =
      here && state_.cursor_samples > static_cast<double>(digest.bars[*here].at_samples) + 1.0;
  next = direction < 0 && is_inside ? next : next + direction;
  next = std::clamp(next, std::ptrdiff_t{0}, last);
  state_.clear_selection();
  go_to(digest.bars[static_cast<std::size_t>(next)].at_samples);
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
  const auto key = sheet::key_of(session_.take());
  say(fmt::format("Heard beside the recording: {}. {} again for the other.",
                  theory::pitch_text(heard.notes[*index].midi, key),
                  key_text(settings_.keys.key_of(Action::compare))));
}

void Desk::run(Action action) {
  const bool needs_take = action != Action::open && action != Action::help &&
                          action != Action::close && action != Action::clear_selection &&
                          action != Action::theme && action != Action::larger &&
                          action != Action::smaller && action != Action::mirror_neck;
  if (needs_take && !session_.has_take()) {
    say("Open a recording or a take first.");
    return;
  }
  if (action <= Action::close) {
    switch (action) {
      case Action::open: {
        std::error_code ignored;
        browser_.show(session_.has_take()         ? session_.path().parent_path()
                      : !settings_.recent.empty() ? settings_.recent.front().parent_path()
                                                  : std::filesystem::current_path(ignored));
        break;
      }
      case Action::save:
        if (const auto saved = session_.save(); !saved) {
          notices_.push_back(saved.error().message);
        } else {
          say(fmt::format("Saved: {}", session_.path().string()));
        }
        break;
      case Action::save_copy: {
        std::filesystem::path copy = session_.path();
        copy.replace_filename(copy.stem().string() + " copy.take");
        const auto saved = take::save_copy(session_.take(), copy);
        if (!saved) {
          notices_.push_back(saved.error().message);
        } else {
          say(fmt::format("Copy: {}", copy.string()));
        }
        break;
      }
      case Action::export_sheet:
        export_.show(session_.path());
        break;
      case Action::undo:
      case Action::redo: {
        const auto name = action == Action::undo ? session_.undo() : session_.redo();
        if (!name) {
          say(name.error().message);
        } else {
          say(*name
                  ? fmt::format("{}: {}", action == Action::undo ? "Undone" : "Done again", **name)
              : action == Action::undo ? "There is nothing to undo."
                                       : "There is nothing to do again.");
        }
        keep_selection_valid(state_, session_.take());
        break;
      }
      case Action::help:
        is_help_open_ = !is_help_open_;
        break;
      default:
        is_closing_ = true;
        break;
    }
  } else if (action <= Action::ramp) {
    run_hearing(action);
  } else if (action <= Action::follow) {
    run_moving(action);
  } else if (action <= Action::clear_selection) {
    run_selecting(action);
  } else if (action <= Action::copy_bars) {
    run_notes(action);
  } else if (action <= Action::halve_beats) {
    run_chords_and_beats(action);
  } else if (action <= Action::passage_4) {
    run_passages(action);
  } else {
    run_showing(action);
  }
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

void Desk::run_moving(Action action) {
  const take::Take& take = session_.take();
  const float middle = state_.axis.left_px + state_.axis.width_px / 2.0F;
  const double now = state_.playing_samples.value_or(state_.cursor_samples);
  // The keyboard zooms at the cursor where that is in view.
  const float cursor = state_.axis.px(now);
  const float at =
      cursor > state_.axis.left_px && cursor < state_.axis.left_px + state_.axis.width_px ? cursor
                                                                                          : middle;
  switch (action) {
    case Action::next_note:
      return step_note(1, false);
    case Action::previous_note:
      return step_note(-1, false);
    case Action::next_bar:
      return step_bar(1);
    case Action::previous_bar:
      return step_bar(-1);
    case Action::go_start:
      return go_to(0);
    case Action::go_end:
      return go_to(take.length_samples);
    case Action::next_doubt:
      return go_to_doubt(1);
    case Action::previous_doubt:
      return go_to_doubt(-1);
    case Action::zoom_in:
      state_.axis = zoomed(state_.axis, 1.0 / 1.5, at, take.length_samples);
      break;
    case Action::zoom_out:
      state_.axis = zoomed(state_.axis, 1.5, at, take.length_samples);
      break;
    case Action::zoom_take:
      state_.axis =
          showing(state_.axis, 0.0, static_cast<double>(take.length_samples), take.length_samples);
      break;
    case Action::zoom_selection:
      if (const auto stretch = stretch_at_hand()) {
        state_.axis = showing(state_.axis, static_cast<double>(stretch->begin_samples),
                              static_cast<double>(stretch->end_samples), take.length_samples);
      }
      break;
    case Action::zoom_bar: {
      const Digest& digest = session_.digest(state_.doubt_threshold);
      const auto bar = bar_at(digest, now);
      if (!bar) break;
      const std::size_t end = std::min(*bar + 4, digest.bars.size() - 1);
      state_.axis = showing(state_.axis, static_cast<double>(digest.bars[*bar].at_samples),
                            static_cast<double>(std::max(digest.bars[end].at_samples,
                                                         digest.bars[*bar].at_samples + 1000)),
                            take.length_samples);
      break;
    }
    case Action::scroll_left:
      state_.axis =
          moved(state_.axis, -0.5 * static_cast<double>(state_.axis.width_px), take.length_samples);
      break;
    case Action::scroll_right:
      state_.axis =
          moved(state_.axis, 0.5 * static_cast<double>(state_.axis.width_px), take.length_samples);
      break;
    default:
      state_.follows_playing = !state_.follows_playing;
      say(state_.follows_playing ? "The view follows the sound." : "The view stays.");
      return;
  }
}

void Desk::run_selecting(Action action) {
  const take::Take& take = session_.take();
  switch (action) {
    case Action::select_all:
      state_.clear_selection();
      state_.notes = notes_in(take, {0, take.length_samples});
      break;
    case Action::select_alike:
      if (const auto index = note_at_hand()) state_.notes = all_like(take, take.notes[*index].id);
      say(fmt::format("{} notes are like this one.", state_.notes.size()));
      break;
    case Action::select_bar: {
      const Digest& digest = session_.digest(state_.doubt_threshold);
      const auto bar = bar_at(digest, state_.cursor_samples);
      if (!bar) break;
      const std::int64_t end =
          *bar + 1 < digest.bars.size() ? digest.bars[*bar + 1].at_samples : take.length_samples;
      state_.clear_selection();
      state_.notes = notes_in(take, {digest.bars[*bar].at_samples, end});
      break;
    }
    case Action::select_more:
      return step_note(1, true);
    case Action::select_less:
      return step_note(-1, true);
    default:
      if (naming_ || passage_naming_ || browser_.is_open() || export_.is_open() || is_help_open_) {
        naming_.reset();
        passage_naming_.reset();
        browser_.close();
        export_.close();
        is_help_open_ = false;
        return;
      }
      if (pointer_.is_dragging()) {
        pointer_.cancel(state_);
        return;
      }
      if (state_.notes.empty() && !state_.chord && !state_.beat && !state_.passage) {
        state_.range.reset();
        state_.is_loop_on = false;
        hearing_changed();
      }
      state_.clear_selection();
      break;
  }
}

void Desk::run_notes(Action action) {
  const take::Take& take = session_.take();
  const std::int64_t nudge_samples = take.time_base_hz / nudges_a_second;
  const std::vector<take::NoteId> ids = state_.notes;
  const auto first = note_at_hand();
  const take::NoteId first_id = first ? take.notes[*first].id : take::NoteId{};
  switch (action) {
    case Action::confirm:
      return apply(confirm(selected()));
    case Action::doubt_and_next:
      apply(mark_doubtful(selected()));
      return go_to_doubt(1);
    case Action::semitone_up:
      return apply(shift_pitch(take, ids, 1));
    case Action::semitone_down:
      return apply(shift_pitch(take, ids, -1));
    case Action::octave_higher:
      return apply(shift_pitch(take, ids, 12));
    case Action::octave_lower:
      return apply(shift_pitch(take, ids, -12));
    case Action::string_higher:
      return apply(move_to_string(take, ids, -1));
    case Action::string_lower:
      return apply(move_to_string(take, ids, 1));
    case Action::unpin:
      return apply(unpin(take, ids));
    case Action::onset_earlier:
      return apply(nudge(take, ids, NoteEdge::onset, -nudge_samples));
    case Action::onset_later:
      return apply(nudge(take, ids, NoteEdge::onset, nudge_samples));
    case Action::end_earlier:
      return apply(nudge(take, ids, NoteEdge::end, -nudge_samples));
    case Action::end_later:
      return apply(nudge(take, ids, NoteEdge::end, nudge_samples));
    case Action::split:
      return apply(split_note(take, first_id, whole(state_.cursor_samples)));
    case Action::join:
      return apply(join_notes(take, ids));
    case Action::tie:
      return apply(tie_notes(take, ids));
    case Action::dead:
      return apply(toggle_dead(take, ids));
    case Action::add_note: {
      const int string = first && take.notes[*first].position
                             ? take.notes[*first].position->string_number
                             : take.neck.string_count();
      const std::int64_t at = whole(state_.cursor_samples);
      apply(add_note(take, session_.evidence().get(), string, at));
      if (const auto index = note_at(session_.take(), static_cast<double>(at) + 1.0)) {
        state_.select_only(session_.take().notes[*index].id);
      }
      return;
    }
    case Action::remove: {
      if (state_.passage) return run(Action::remove_passage);
      if (state_.beat) return run(Action::drop_beat);
      if (state_.chord && ids.empty()) {
        return apply(Result<take::Edit>(take::Edit{take::RemoveChord{*state_.chord}}));
      }
      return apply(remove_notes(take, ids));
    }
    case Action::next_candidate: {
      if (!first) return say("Select a note first.");
      const take::Note& note = take.notes[*first];
      if (note.alternatives.empty()) return say("There is no other candidate.");
      return apply(set_pitch(take, note.id, note.alternatives.front().midi));
    }
    default:
      if (!state_.range) return say("Mark the bars to copy, and put the cursor where they go.");
      return apply(copy_stretch(take, *state_.range, whole(state_.cursor_samples)));
  }
}

void Desk::run_chords_and_beats(Action action) {
  const take::Take& take = session_.take();
  const auto chord = chord_at_hand();
  const auto beat_here = [&]() -> std::optional<take::BeatId> {
    if (state_.beat) return state_.beat;
    const take::Beat* beat = take::nearest_beat(take, whole(state_.cursor_samples));
    if (beat == nullptr) return std::nullopt;
    return beat->id;
  };
  switch (action) {
    case Action::name_chord:
      if (!chord) return run(Action::insert_chord);
      naming_ = ChordNaming{.id = take.chords[*chord].id};
      return;
    case Action::chord_1:
    case Action::chord_2:
    case Action::chord_3: {
      const auto rank =
          static_cast<std::size_t>(action) - static_cast<std::size_t>(Action::chord_1);
      if (!chord || take.chords[*chord].alternatives.size() <= rank) {
        return say("There is no such candidate for the chord.");
      }
      const take::ChordSpan& span = take.chords[*chord];
      return apply(choose_chord(take, span.id, span.alternatives[rank].chord));
    }
    case Action::chord_bass: {
      const auto note = note_at_hand();
      if (!note || !chord) return say("Select a note under a chord first.");
      return apply(set_chord_bass(take, take.chords[*chord].id, take.notes[*note].midi % 12));
    }
    case Action::insert_chord: {
      std::int64_t at = whole(state_.cursor_samples);
      if (const take::Beat* beat = take::nearest_beat(take, at)) at = beat->time_samples;
      naming_ = ChordNaming{.id = {}, .at_samples = at};
      return;
    }
    case Action::tap:
      return tap_beat();
    case Action::beat_one:
      if (const auto beat = beat_here()) {
        return apply(Result<take::Edit>(take::Edit{take::BeatOne{.id = *beat}}));
      }
      return say("There are no beats yet; play and tap them.");
    case Action::insert_beat:
      return apply(Result<take::Edit>(take::Edit{take::AddBeat{whole(state_.cursor_samples)}}));
    case Action::drop_beat:
      if (const auto beat = beat_here()) {
        return apply(Result<take::Edit>(take::Edit{take::RemoveBeat{*beat}}));
      }
      return say("There is no beat here.");
    case Action::double_beats:
      return apply(double_beats(take, state_.range));
    default:
      return apply(halve_beats(take, state_.range));
  }
}

void Desk::run_passages(Action action) {
  const take::Take& take = session_.take();
  switch (action) {
    case Action::name_passage: {
      if (state_.passage) {
        if (const auto index = index_of(take, *state_.passage)) {
          const take::Passage& passage = take.passages[*index];
          passage_naming_ = PassageNaming{.id = passage.id,
                                          .stretch = {passage.begin_samples, passage.end_samples},
                                          .name = passage.name};
          return;
        }
      }
      const auto stretch = stretch_at_hand();
      if (!stretch) return say("Drag over the bar numbers to mark a stretch, then name it.");
      passage_naming_ =
          PassageNaming{.id = {}, .stretch = *stretch, .name = free_passage_name(take)};
      return;
    }
    case Action::remove_passage:
      if (!state_.passage) return say("Select a passage first.");
      return apply(Result<take::Edit>(take::Edit{take::RemovePassage{*state_.passage}}));
    default: {
      const auto index =
          static_cast<std::size_t>(action) - static_cast<std::size_t>(Action::passage_1);
      if (index >= take.passages.size()) return say("There is no such passage.");
      const take::Passage& passage = take.passages[index];
      state_.clear_selection();
      state_.passage = passage.id;
      state_.range = take::Stretch{passage.begin_samples, passage.end_samples};
      state_.is_loop_on = true;
      hearing_changed();
      return go_to(passage.begin_samples);
    }
  }
}

void Desk::run_showing(Action action) {
  const auto fold = [this](LaneKind kind) {
    for (LaneSetting& lane : state_.lanes) {
      if (lane.kind == kind) lane.is_folded = !lane.is_folded;
    }
  };
  switch (action) {
    case Action::show_note:
      state_.side_panel = SidePanel::note;
      break;
    case Action::show_doubts:
      state_.side_panel = SidePanel::doubts;
      break;
    case Action::show_passages:
      state_.side_panel = SidePanel::passages;
      break;
    case Action::show_take:
      state_.side_panel = SidePanel::take;
      break;
    case Action::show_history:
      state_.side_panel = SidePanel::history;
      break;
    case Action::lens:
      fold(LaneKind::lens);
      break;
    case Action::roles:
      fold(LaneKind::roles);
      break;
    case Action::theme:
      settings_.is_dark = !settings_.is_dark;
      break;
    case Action::larger:
      settings_.text_scale = std::min(2.5, settings_.text_scale + 0.1);
      break;
    case Action::smaller:
      settings_.text_scale = std::max(0.7, settings_.text_scale - 0.1);
      break;
    default:
      settings_.is_neck_mirrored = !settings_.is_neck_mirrored;
      break;
  }
}

}  // namespace lowstride::desk
