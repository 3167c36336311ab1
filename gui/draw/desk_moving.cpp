#include <algorithm>

#include <fmt/format.h>

#include "gui/draw/desk.hpp"
#include "gui/gesture/note_edits.hpp"

namespace lowstride::desk {

void Desk::go_to(std::int64_t sample) {
  state_.cursor_samples =
      static_cast<double>(std::clamp<std::int64_t>(sample, 0, session_.take().length_samples));
  state_.axis = revealing(state_.axis, state_.cursor_samples, session_.take().length_samples);
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
  const Doubt& doubt = sorted[static_cast<std::size_t>(next)];
  select_doubt(doubt, true);
  const auto key = [this](Action action) { return key_text(settings_.keys.key_of(action)); };
  const std::string else_do =
      doubt.kind == Doubt::Kind::note
          ? fmt::format("type the fret, {} another candidate", key(Action::next_candidate))
          : fmt::format("{} its name, {} another candidate", key(Action::name_chord),
                        key(Action::next_candidate));
  say(fmt::format("Doubt {} of {}. Right: {}. Else {}, or {}.", next + 1, count,
                  key(Action::confirm), else_do, key(Action::doubt_and_next)));
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
      if (drill_.close_browser()) return;
      if (is_recovery_open_ || !notices_.empty()) {
        is_recovery_open_ = false;
        notices_.clear();
        return;
      }
      if (naming_ || passage_naming_ || remark_writing_ || is_dialog_open()) {
        naming_.reset();
        passage_naming_.reset();
        remark_writing_.reset();
        browser_.close();
        export_.close();
        drill_.close();
        versions_.close();
        is_help_open_ = false;
        return;
      }
      if (pointer_.is_dragging()) {
        pointer_.cancel(state_);
        return;
      }
      if (state_.notes.empty() && !state_.chord && !state_.beat && !state_.passage &&
          !state_.remark) {
        state_.range.reset();
        state_.is_loop_on = false;
        hearing_changed();
      }
      state_.clear_selection();
      break;
  }
}

}  // namespace lowstride::desk
