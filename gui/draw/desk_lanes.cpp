#include <algorithm>
#include <cmath>

#include "gui/draw/desk.hpp"
#include "gui/draw/neck_view.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"

namespace lowstride::desk {
namespace {

constexpr float overview_height = 40.0F;

}  // namespace

PointerInput Desk::pointer_input(bool is_over) const {
  const ImGuiIO& io = ImGui::GetIO();
  PointerInput input;
  input.at = {io.MousePos.x, io.MousePos.y};
  input.is_over = is_over;
  input.is_pressed = is_over && ImGui::IsMouseClicked(ImGuiMouseButton_Left);
  input.is_double = is_over && ImGui::IsMouseDoubleClicked(ImGuiMouseButton_Left);
  input.is_released = ImGui::IsMouseReleased(ImGuiMouseButton_Left);
  input.is_menu_pressed = is_over && ImGui::IsMouseClicked(ImGuiMouseButton_Right);
  input.is_pan_held = is_over && ImGui::IsMouseDown(ImGuiMouseButton_Middle);
  input.pan = {io.MouseDelta.x, io.MouseDelta.y};
  input.wheel = io.MouseWheel;
  input.wheel_sideways = io.MouseWheelH;
  input.is_control = io.KeyCtrl;
  input.is_shift = io.KeyShift;
  input.is_alt = io.KeyAlt;
  return input;
}

void Desk::act_on(const PointerOutcome& outcome) {
  if (outcome.cursor) {
    go_to(*outcome.cursor);
    if (hearing_ && state_.playing_samples) hearing_->seek(*outcome.cursor);
  }
  if (outcome.edit) apply(*outcome.edit);
  if (outcome.add) {
    const std::int64_t at = ImGui::GetIO().KeyAlt
                                ? outcome.add->second
                                : snapped_to_grid(session_.take(), outcome.add->second,
                                                  12.0 * scale_ * state_.axis.samples_per_px);
    apply(add_note(session_.take(), session_.evidence().get(), outcome.add->first, at));
    if (const auto index = note_at(session_.take(), static_cast<double>(at) + 1.0)) {
      state_.select_only(session_.take().notes[*index].id);
      const take::Note& note = session_.take().notes[*index];
      // The string that was pointed at, where it has the note.
      const auto there = move_to_string(
          session_.take(), state_.notes,
          outcome.add->first - (note.position ? note.position->string_number : outcome.add->first));
      if (there && note.position && note.position->string_number != outcome.add->first) {
        apply(there);
      }
    }
  }
  if (outcome.add_beat) apply(Result<take::Edit>(take::Edit{take::AddBeat{*outcome.add_beat}}));
  if (outcome.name_chord) naming_ = ChordNaming{.id = outcome.name_chord};
  if (outcome.write_remark) begin_remark(outcome.write_remark);
  if (outcome.add_chord) naming_ = ChordNaming{.id = {}, .at_samples = *outcome.add_chord};
  if (outcome.is_range_made) {
    state_.is_loop_on = true;
    hearing_changed();
    if (!state_.playing_samples)
      state_.cursor_samples = static_cast<double>(state_.range->begin_samples);
  }
  if (outcome.menu) {
    menu_hit_ = *outcome.menu;
    is_menu_wanted_ = true;
  }
}

void Desk::overview_part() {
  const float height = overview_height * scale_;
  const ImVec2 at = ImGui::GetCursorScreenPos();
  const float width = ImGui::GetContentRegionAvail().x;
  overview_rect_ = {at.x, at.y, at.x + width, at.y + height};
  ImGui::InvisibleButton("overview", {std::max(1.0F, width), height});
  if (ImGui::IsItemActive() && session_.take().length_samples > 0) {
    const double here = overview_sample(session_.take(), overview_rect_, ImGui::GetIO().MousePos.x);
    const double span = state_.axis.width_px * state_.axis.samples_per_px;
    state_.axis.begin_samples = here - span / 2.0;
    state_.axis = moved(state_.axis, 0.0, session_.take().length_samples);
    state_.follows_playing = false;
  }
}

void Desk::lanes_part() {
  const take::Take& take = session_.take();
  const Rect& rect = lanes_rect_;
  ImGui::SetCursorScreenPos({rect.x0, rect.y0});
  ImGui::InvisibleButton("lanes", {rect.width(), rect.height()},
                         ImGuiButtonFlags_MouseButtonLeft | ImGuiButtonFlags_MouseButtonMiddle);
  const bool is_over = ImGui::IsItemHovered() || ImGui::IsItemActive();
  state_.axis.left_px = rect.x0 + std::round(lane_heading_width * scale_);
  state_.axis.width_px = std::max(1.0F, rect.x1 - state_.axis.left_px);
  if (is_new_view_) {
    is_new_view_ = false;
    const auto view = load_last_view(session_.path());
    if (view) {
      state_.axis.begin_samples = view->begin_samples;
      state_.axis.samples_per_px = view->samples_per_px;
      state_.cursor_samples =
          std::min(view->cursor_samples, static_cast<double>(take.length_samples));
      state_.axis = moved(state_.axis, 0.0, take.length_samples);
    } else {
      // Some twelve seconds: four to eight bars.
      const double first =
          take.notes.empty() ? 0.0 : static_cast<double>(take.notes.front().onset_samples);
      const auto span = 12.0 * static_cast<double>(take.time_base_hz);
      state_.cursor_samples = first;
      state_.axis = showing(state_.axis, first,
                            std::min(first + span, static_cast<double>(take.length_samples)),
                            take.length_samples);
    }
  }
  const Digest& digest = session_.digest(state_.doubt_threshold);
  lanes_ = lay_out(take, digest, state_, rect, scale_);
  if (session_.has_take()) {
    const PointerOutcome outcome = pointer_.update(lanes_, take, state_, pointer_input(is_over));
    act_on(outcome);
    // What was done shows in this very frame.
    lanes_ =
        lay_out(session_.take(), session_.digest(state_.doubt_threshold), state_, rect, scale_);
    if (is_over && !ImGui::IsItemActive()) {
      const Hit hit = hit_test(lanes_, {ImGui::GetIO().MousePos.x, ImGui::GetIO().MousePos.y});
      switch (hit.kind) {
        case Hit::Kind::note_onset:
        case Hit::Kind::note_end:
        case Hit::Kind::chord_edge:
        case Hit::Kind::passage_begin:
        case Hit::Kind::passage_end:
          ImGui::SetMouseCursor(ImGuiMouseCursor_ResizeEW);
          break;
        case Hit::Kind::lane_divider:
          ImGui::SetMouseCursor(ImGuiMouseCursor_ResizeNS);
          break;
        case Hit::Kind::note:
        case Hit::Kind::beat:
        case Hit::Kind::heading:
          ImGui::SetMouseCursor(ImGuiMouseCursor_Hand);
          break;
        default:
          break;
      }
    }
  }
  const Brush brush{*ImGui::GetWindowDrawList(), theme(), *fonts_, scale_};
  const LanesScene scene{session_.take(),
                         session_.digest(state_.doubt_threshold),
                         state_,
                         lanes_,
                         session_.evidence().get(),
                         session_.levels()};
  draw_lanes(brush, scene);
  draw_overview(brush, scene, overview_rect_);
}

void Desk::neck_part() {
  const float height = std::min(ImGui::GetContentRegionAvail().y * 0.56F, 400.0F * scale_);
  const ImVec2 at = ImGui::GetCursorScreenPos();
  const Rect rect{at.x, at.y, at.x + ImGui::GetContentRegionAvail().x, at.y + height};
  ImGui::InvisibleButton("neck", {std::max(1.0F, rect.width()), height});
  const take::Take& take = session_.take();
  const double now = state_.playing_samples.value_or(state_.cursor_samples);
  NeckScene scene{take, {}, note_at_hand(), chord_at(take, now), settings_.is_neck_mirrored};
  if (state_.playing_samples) scene.sounding = note_at(take, *state_.playing_samples);
  const Brush brush{*ImGui::GetWindowDrawList(), theme(), *fonts_, scale_};
  draw_neck(brush, scene, rect);
  if (ImGui::IsItemClicked() && scene.selected && state_.notes.size() == 1) {
    const ImVec2 mouse = ImGui::GetIO().MousePos;
    if (const auto place = neck_place_at(scene, rect, scale_, {mouse.x, mouse.y})) {
      apply(set_fret(take, take.notes[*scene.selected].id, place->string_number, place->fret));
    }
  }
  if (ImGui::IsItemHovered() && scene.selected) {
    ImGui::SetTooltip("click: play the note here");
  }
}

}  // namespace lowstride::desk
