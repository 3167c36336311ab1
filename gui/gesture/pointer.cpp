#include "gui/gesture/pointer.hpp"

#include <algorithm>
#include <cmath>

#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"

namespace lowstride::desk {
namespace {

constexpr float drag_reach = 3.0F;
constexpr double snap_px = 9.0;
constexpr double zoom_step = 1.25;
constexpr float scroll_px = 90.0F;

std::int64_t placed(const LaneLayout& layout, const take::Take& take, const PointerInput& input,
                    double sample) {
  const auto at = static_cast<std::int64_t>(
      std::clamp(std::round(sample), 0.0, static_cast<double>(take.length_samples)));
  if (input.is_alt) return at;
  return snapped_to_grid(take, at, snap_px * layout.scale * layout.axis.samples_per_px);
}

take::Stretch ordered(std::int64_t a, std::int64_t b) { return {std::min(a, b), std::max(a, b)}; }

LaneSetting* setting_of(DeskState& state, LaneKind kind) {
  const auto at = std::ranges::find(state.lanes, kind, &LaneSetting::kind);
  return at == state.lanes.end() ? nullptr : &*at;
}

void toggle(DeskState& state, take::NoteId id) {
  const auto at = std::ranges::find(state.notes, id);
  if (at == state.notes.end()) {
    state.notes.push_back(id);
  } else {
    state.notes.erase(at);
  }
}

void extend(DeskState& state, const take::Take& take, std::size_t to) {
  const auto from = state.notes.empty() ? std::nullopt : index_of(take, state.notes.front());
  if (!from) {
    state.select_only(take.notes[to].id);
    return;
  }
  const take::NoteId anchor = state.notes.front();
  state.notes.assign(1, anchor);
  for (std::size_t i = std::min(*from, to); i <= std::max(*from, to); ++i) {
    if (take.notes[i].id != anchor) state.notes.push_back(take.notes[i].id);
  }
}

}  // namespace

PointerOutcome PointerGestures::update(const LaneLayout& layout, const take::Take& take,
                                       DeskState& state, const PointerInput& input) {
  PointerOutcome outcome;
  if (input.is_over && input.is_pan_held) {
    state.axis = moved(layout.axis, -input.pan.x, take.length_samples);
  }
  if (input.is_over && (input.wheel != 0.0F || input.wheel_sideways != 0.0F)) {
    const float sideways = input.is_shift ? input.wheel : input.wheel_sideways;
    if (sideways != 0.0F) {
      state.axis = moved(layout.axis, -sideways * scroll_px * layout.scale, take.length_samples);
    } else {
      state.axis =
          zoomed(layout.axis, std::pow(zoom_step, -input.wheel), input.at.x, take.length_samples);
    }
    state.follows_playing = false;
  }
  if (input.is_over && input.is_menu_pressed) {
    const Hit hit = hit_test(layout, input.at);
    if (hit.kind == Hit::Kind::note || hit.kind == Hit::Kind::note_onset ||
        hit.kind == Hit::Kind::note_end) {
      if (!state.is_selected(take.notes[hit.index].id)) state.select_only(take.notes[hit.index].id);
    }
    if (hit.kind == Hit::Kind::chord || hit.kind == Hit::Kind::chord_edge) {
      state.clear_selection();
      state.chord = take.chords[hit.index].id;
    }
    if (hit.kind == Hit::Kind::beat) {
      state.clear_selection();
      state.beat = take.beats[hit.index].id;
    }
    if (hit.kind == Hit::Kind::passage || hit.kind == Hit::Kind::passage_begin ||
        hit.kind == Hit::Kind::passage_end) {
      state.clear_selection();
      state.passage = take.passages[hit.index].id;
    }
    if (hit.kind == Hit::Kind::remark) {
      state.clear_selection();
      state.remark = take.remarks[hit.index].id;
    }
    outcome.menu = hit;
    return outcome;
  }
  if (input.is_over && input.is_pressed && !grip_) {
    grip_ = hit_test(layout, input.at);
    from_ = input.at;
    has_moved_ = false;
    if (const LaneSetting* lane = setting_of(state, grip_->lane)) lane_height_ = lane->height;
    press(take, state, input, outcome);
  }
  if (grip_ && !has_moved_ &&
      (std::abs(input.at.x - from_.x) > drag_reach * layout.scale ||
       std::abs(input.at.y - from_.y) > drag_reach * layout.scale)) {
    has_moved_ = true;
  }
  if (grip_ && has_moved_) drag(layout, take, state, input);
  if (grip_ && input.is_released) {
    if (has_moved_) {
      release(layout, take, state, input, outcome);
    } else {
      click(take, state, input, outcome);
    }
    cancel(state);
  }
  return outcome;
}

void PointerGestures::cancel(DeskState& state) {
  grip_.reset();
  has_moved_ = false;
  if (!std::holds_alternative<FretDraft>(state.draft)) state.draft = std::monostate{};
}

void PointerGestures::press(const take::Take& take, DeskState& state, const PointerInput& input,
                            PointerOutcome& outcome) {
  const Hit& hit = *grip_;
  if (input.is_double) {
    switch (hit.kind) {
      case Hit::Kind::strings:
        outcome.add = {hit.string_number.value_or(1), std::llround(hit.sample)};
        break;
      case Hit::Kind::chord:
        outcome.name_chord = take.chords[hit.index].id;
        break;
      case Hit::Kind::remark:
        outcome.write_remark = take.remarks[hit.index].id;
        break;
      case Hit::Kind::counts:
        outcome.add_beat = std::llround(hit.sample);
        break;
      case Hit::Kind::passage:
        state.range = take::Stretch{take.passages[hit.index].begin_samples,
                                    take.passages[hit.index].end_samples};
        outcome.is_range_made = true;
        break;
      case Hit::Kind::ruler: {
        // The bar.
        const take::Beat* beat = take::nearest_beat(take, std::llround(hit.sample));
        if (beat == nullptr) break;
        const auto here = take::bar_position(take, hit.sample);
        const auto begin = here ? take::sample_at(take, {here->bar, 1.0}) : std::nullopt;
        const auto end = here ? take::sample_at(take, {here->bar + 1, 1.0}) : std::nullopt;
        if (!begin || !end) break;
        state.range = take::Stretch{
            std::max<std::int64_t>(0, std::llround(*begin)),
            std::min(take.length_samples, static_cast<std::int64_t>(std::llround(*end)))};
        outcome.is_range_made = true;
        break;
      }
      default:
        if (hit.lane == LaneKind::chords) outcome.add_chord = std::llround(hit.sample);
        return;
    }
    grip_.reset();
    return;
  }
  const bool is_note = hit.kind == Hit::Kind::note || hit.kind == Hit::Kind::note_onset ||
                       hit.kind == Hit::Kind::note_end;
  if (is_note) {
    const take::NoteId id = take.notes[hit.index].id;
    if (input.is_control) {
      toggle(state, id);
    } else if (input.is_shift) {
      extend(state, take, hit.index);
    } else if (!state.is_selected(id)) {
      state.select_only(id);
    }
  }
}

void PointerGestures::drag_note(const LaneLayout& layout, const take::Take& take, DeskState& state,
                                const PointerInput& input) {
  const take::Note& note = take.notes[grip_->index];
  const double by = (input.at.x - from_.x) * layout.axis.samples_per_px;
  NoteDraft draft{note.id, note.onset_samples, note.offset_samples, {}};
  const std::int64_t least = take.time_base_hz / 50;
  if (grip_->kind == Hit::Kind::note_onset) {
    draft.onset_samples =
        std::min(placed(layout, take, input, static_cast<double>(note.onset_samples) + by),
                 note.offset_samples - least);
  } else if (grip_->kind == Hit::Kind::note_end) {
    draft.offset_samples =
        std::max(placed(layout, take, input, static_cast<double>(note.offset_samples) + by),
                 note.onset_samples + least);
  } else {
    // Mostly up or down: to another string. Mostly sideways: to another time.
    const bool is_across = std::abs(input.at.y - from_.y) > std::abs(input.at.x - from_.x);
    if (is_across && note.position && !layout.string_ys.empty()) {
      float nearest = 1e9F;
      for (std::size_t i = 0; i < layout.string_ys.size(); ++i) {
        const float distance = std::abs(layout.string_ys[i] - input.at.y);
        if (distance < nearest) {
          nearest = distance;
          draft.string_number = static_cast<int>(i) + 1;
        }
      }
      if (draft.string_number == note.position->string_number) draft.string_number.reset();
    } else {
      const std::int64_t length = note.offset_samples - note.onset_samples;
      draft.onset_samples =
          placed(layout, take, input, static_cast<double>(note.onset_samples) + by);
      draft.onset_samples = std::min(draft.onset_samples, take.length_samples - length);
      draft.offset_samples = draft.onset_samples + length;
    }
  }
  state.draft = draft;
}

void PointerGestures::drag(const LaneLayout& layout, const take::Take& take, DeskState& state,
                           const PointerInput& input) {
  const double here = layout.axis.sample(input.at.x);
  const auto at = static_cast<std::int64_t>(
      std::clamp(std::round(here), 0.0, static_cast<double>(take.length_samples)));
  switch (grip_->kind) {
    case Hit::Kind::note:
    case Hit::Kind::note_onset:
    case Hit::Kind::note_end:
      drag_note(layout, take, state, input);
      break;
    case Hit::Kind::beat:
      state.draft = BeatDraft{take.beats[grip_->index].id, at};
      break;
    case Hit::Kind::chord_edge: {
      std::int64_t begin = at;
      if (!input.is_alt) {
        if (const take::Beat* beat = take::nearest_beat(take, at)) begin = beat->time_samples;
      }
      state.draft = ChordDraft{take.chords[grip_->index].id, begin};
      break;
    }
    case Hit::Kind::passage_begin:
    case Hit::Kind::passage_end: {
      const take::Passage& passage = take.passages[grip_->index];
      const std::int64_t fixed =
          grip_->kind == Hit::Kind::passage_begin ? passage.end_samples : passage.begin_samples;
      state.draft = PassageDraft{passage.id, ordered(fixed, placed(layout, take, input, here))};
      break;
    }
    case Hit::Kind::ruler:
    case Hit::Kind::waveform:
    case Hit::Kind::counts: {
      const take::Stretch raw = ordered(std::llround(grip_->sample), at);
      state.draft = RangeDraft{input.is_alt ? raw : on_beats(take, raw)};
      break;
    }
    case Hit::Kind::strings:
      state.draft = BoxDraft{from_, input.at};
      break;
    case Hit::Kind::lane_divider:
      if (LaneSetting* lane = setting_of(state, grip_->lane)) {
        lane->height =
            std::clamp(lane_height_ + (input.at.y - from_.y) / layout.scale, 14.0F, 500.0F);
      }
      break;
    default:
      break;
  }
}

void PointerGestures::release(const LaneLayout& layout, const take::Take& take, DeskState& state,
                              const PointerInput& input, PointerOutcome& outcome) {
  if (const auto* note = std::get_if<NoteDraft>(&state.draft)) {
    const auto index = index_of(take, note->id);
    if (!index) return;
    const bool is_same = take.notes[*index].onset_samples == note->onset_samples &&
                         take.notes[*index].offset_samples == note->offset_samples &&
                         !note->string_number;
    if (is_same) return;
    outcome.edit = place_note(take, note->id, {note->onset_samples, note->offset_samples},
                              note->string_number);
  } else if (const auto* beat = std::get_if<BeatDraft>(&state.draft)) {
    outcome.edit = take::Edit{take::MoveBeat{beat->id, beat->time_samples}};
    state.clear_selection();
    state.beat = beat->id;
  } else if (const auto* chord = std::get_if<ChordDraft>(&state.draft)) {
    const auto index = index_of(take, chord->id);
    if (index && take.chords[*index].begin_samples != chord->begin_samples) {
      outcome.edit = take::Edit{take::MoveChord{chord->id, chord->begin_samples}};
    }
  } else if (const auto* passage = std::get_if<PassageDraft>(&state.draft)) {
    if (const auto index = index_of(take, passage->id)) {
      outcome.edit = take::Edit{take::ReplacePassage{passage->id, take.passages[*index].name,
                                                     passage->stretch.begin_samples,
                                                     passage->stretch.end_samples}};
    }
  } else if (const auto* range = std::get_if<RangeDraft>(&state.draft)) {
    if (range->stretch.begin_samples < range->stretch.end_samples) {
      state.range = range->stretch;
      outcome.is_range_made = true;
    }
  } else if (const auto* box = std::get_if<BoxDraft>(&state.draft)) {
    const Rect rect{std::min(box->from.x, box->to.x), std::min(box->from.y, box->to.y),
                    std::max(box->from.x, box->to.x), std::max(box->from.y, box->to.y)};
    if (!input.is_control && !input.is_shift) state.clear_selection();
    for (const NoteBox& other : layout.notes) {
      const bool is_inside = other.chip.x1 > rect.x0 && other.chip.x0 < rect.x1 &&
                             other.chip.middle_y() > rect.y0 && other.chip.middle_y() < rect.y1;
      if (is_inside && !state.is_selected(other.id)) state.notes.push_back(other.id);
    }
    if (layout.notes.empty()) {
      const take::Stretch stretch{std::llround(layout.axis.sample(rect.x0)),
                                  std::llround(layout.axis.sample(rect.x1))};
      state.notes = notes_in(take, stretch);
    }
  }
}

void PointerGestures::click(const take::Take& take, DeskState& state, const PointerInput& input,
                            PointerOutcome& outcome) {
  const Hit& hit = *grip_;
  const auto at = static_cast<std::int64_t>(
      std::clamp(std::round(hit.sample), 0.0, static_cast<double>(take.length_samples)));
  switch (hit.kind) {
    case Hit::Kind::note:
    case Hit::Kind::note_onset:
    case Hit::Kind::note_end:
      if (!input.is_control && !input.is_shift) state.select_only(take.notes[hit.index].id);
      state.side_panel = SidePanel::note;
      outcome.cursor = take.notes[hit.index].onset_samples;
      break;
    case Hit::Kind::chord:
    case Hit::Kind::chord_edge:
      state.clear_selection();
      state.chord = take.chords[hit.index].id;
      state.side_panel = SidePanel::note;
      outcome.cursor = take.chords[hit.index].begin_samples;
      break;
    case Hit::Kind::beat:
      state.clear_selection();
      state.beat = take.beats[hit.index].id;
      outcome.cursor = take.beats[hit.index].time_samples;
      break;
    case Hit::Kind::passage:
    case Hit::Kind::passage_begin:
    case Hit::Kind::passage_end:
      state.clear_selection();
      state.passage = take.passages[hit.index].id;
      outcome.cursor = take.passages[hit.index].begin_samples;
      break;
    case Hit::Kind::remark:
      state.clear_selection();
      state.remark = take.remarks[hit.index].id;
      outcome.cursor = place_of(take, take.remarks[hit.index]);
      break;
    case Hit::Kind::ruler: {
      const take::Beat* beat = input.is_alt ? nullptr : take::nearest_beat(take, at);
      outcome.cursor = beat != nullptr ? beat->time_samples : at;
      break;
    }
    case Hit::Kind::strings:
      if (!input.is_control && !input.is_shift) state.clear_selection();
      outcome.cursor = at;
      break;
    case Hit::Kind::heading:
      if (LaneSetting* lane = setting_of(state, hit.lane);
          lane != nullptr && hit.lane != LaneKind::ruler) {
        lane->is_folded = !lane->is_folded;
      }
      break;
    case Hit::Kind::waveform:
    case Hit::Kind::counts:
    case Hit::Kind::other_lane:
      outcome.cursor = at;
      break;
    case Hit::Kind::lane_divider:
    case Hit::Kind::nothing:
      break;
  }
}

}  // namespace lowstride::desk
