#include <algorithm>

#include <fmt/format.h>

#include "gui/draw/desk.hpp"

namespace lowstride::desk {
namespace {

/// A tenth of a second.
constexpr std::int64_t ahead_share = 10;

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

void Desk::run_take(Action action) {
  switch (action) {
    case Action::open: {
      std::error_code ignored;
      browser_.show(session_.has_take()         ? session_.path().parent_path()
                    : !settings_.recent.empty() ? settings_.recent.front().parent_path()
                                                : std::filesystem::current_path(ignored));
      break;
    }
    case Action::save:
      session_.start_saving();
      break;
    case Action::save_copy: {
      std::filesystem::path copy = session_.path();
      copy.replace_filename(copy.stem().string() + " copy.take");
      session_.start_saving_copy(copy);
      break;
    }
    case Action::export_sheet:
      export_.show(session_.path());
      break;
    case Action::drill:
      open_drill();
      break;
    case Action::version_before:
      if (const auto done = session_.open_version_before(); !done) say(done.error().message);
      break;
    case Action::versions:
      versions_.show(session_.path());
      break;
    case Action::undo:
    case Action::redo: {
      const auto name = action == Action::undo ? session_.undo() : session_.redo();
      if (!name) {
        say(name.error().message);
      } else {
        say(*name ? fmt::format("{}: {}", action == Action::undo ? "Undone" : "Done again", **name)
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
}

void Desk::open_drill() {
  // The drill plays for itself, and many systems lend their device once only.
  hearing_.reset();
  state_.playing_samples.reset();
  is_drilling_ = true;
  DrillWindow::MakeSound make_sound;
  if (options_.make_drill_sound) {
    make_sound = [make = options_.make_drill_sound, recording = session_.recording(),
                  device = settings_.audio_device] { return make(recording, device); };
  }
  drill_.show(session_.take(), session_.path(), std::move(make_sound), options_.open_input);
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
    run_take(action);
  } else if (action <= Action::ramp) {
    run_hearing(action);
  } else if (action <= Action::follow) {
    run_moving(action);
  } else if (action <= Action::clear_selection) {
    run_selecting(action);
  } else if (action <= Action::remark) {
    run_notes(action);
  } else if (action <= Action::halve_beats) {
    run_chords_and_beats(action);
  } else if (action <= Action::passage_4) {
    run_passages(action);
  } else {
    run_showing(action);
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
