#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <imgui.h>

#include "gui/draw/desk.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "gui/gesture/note_edits.hpp"
#include "src/sheet/summary.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::desk {
namespace {

constexpr const char* click_names[] = {"click off", "click all", "click 2 and 4", "click 1"};
constexpr const char* count_in_names[] = {"no count-in", "count-in 1 bar", "count-in 2 bars"};
constexpr const char* low_voice_names[] = {"low voice", "low voice up", "low voice only",
                                           "low voice out"};
constexpr const char* line_names[] = {"line off", "line beside", "line instead"};

ImVec4 vec(Colour colour) {
  return {static_cast<float>(colour.red) / 255.0F, static_cast<float>(colour.green) / 255.0F,
          static_cast<float>(colour.blue) / 255.0F, 1.0F};
}

std::string state_text(bool is_confirmed, bool is_doubt) {
  return is_confirmed ? "confirmed" : is_doubt ? "in doubt" : "proposed";
}

void plain(const std::string& text) {
  ImGui::TextUnformatted(text.data(), text.data() + text.size());
}

}  // namespace

void Desk::tip(Action action) const {
  if (!ImGui::IsItemHovered()) return;
  const ActionInfo& info = info_of(action);
  const std::string key = key_text(settings_.keys.key_of(action));
  ImGui::SetTooltip("%s%s", std::string(info.name).c_str(),
                    key.empty() ? "" : fmt::format("  ({})", key).c_str());
}

bool Desk::action_button(Action action, const char* label, bool is_on) {
  if (is_on) {
    ImGui::PushStyleColor(ImGuiCol_Button, vec(theme().accent));
    ImGui::PushStyleColor(ImGuiCol_ButtonHovered, vec(theme().accent));
    ImGui::PushStyleColor(ImGuiCol_Text, ImVec4{0.0F, 0.0F, 0.0F, 1.0F});
  }
  const bool is_pressed = ImGui::Button(label);
  if (is_on) ImGui::PopStyleColor(3);
  tip(action);
  if (is_pressed) run(action);
  return is_pressed;
}

void Desk::transport_bar() {
  const bool is_playing = state_.playing_samples.has_value();
  action_button(Action::play, is_playing ? "  Stop  " : "  Play  ", is_playing);
  ImGui::SameLine();
  action_button(Action::loop, "Loop", state_.is_loop_on);
  ImGui::SameLine();
  ImGui::SetNextItemWidth(150.0F * scale_);
  float percent = static_cast<float>(hear_.speed_ratio * 100.0);
  if (ImGui::SliderFloat("##speed", &percent, 20.0F, 150.0F, "speed %.0f %%")) {
    hear_.speed_ratio = std::round(percent) / 100.0;
    hearing_changed();
  }
  tip(Action::slower);
  for (const double speed : {0.5, 0.75, 1.0}) {
    ImGui::SameLine();
    const std::string label = fmt::format("{:.0f}", speed * 100.0);
    if (ImGui::Button(label.c_str())) {
      hear_.speed_ratio = speed;
      hearing_changed();
    }
  }
  ImGui::SameLine();
  ImGui::SetNextItemWidth(104.0F * scale_);
  float semitones = static_cast<float>(hear_.shift_semitones);
  if (ImGui::SliderFloat("##shift", &semitones, -12.0F, 12.0F,
                         semitones == 0.0F ? "own pitch" : "%+.0f semit.")) {
    hear_.shift_semitones = std::round(semitones);
    hearing_changed();
  }
  tip(Action::pitch_up);
  ImGui::SameLine();
  action_button(Action::click, click_names[static_cast<int>(hear_.click)],
                hear_.click != audio::ClickPattern::none);
  ImGui::SameLine();
  action_button(Action::count_in, count_in_names[std::clamp(hear_.count_in_bars, 0, 2)],
                hear_.count_in_bars > 0);
  ImGui::SameLine();
  action_button(Action::line, line_names[static_cast<int>(hear_.line)],
                hear_.line != LineHeard::off);
  ImGui::SameLine();
  ImGui::BeginDisabled(session_.recording().empty());
  action_button(Action::low_voice, low_voice_names[static_cast<int>(hear_.low_voice.use)],
                hear_.low_voice.use != audio::LowVoiceUse::as_is);
  ImGui::SameLine();
  action_button(Action::octave_up, "octave up", hear_.low_voice.octave_up);
  ImGui::EndDisabled();
  ImGui::SameLine();
  action_button(Action::ramp, "speed up", ramp_to_ > 0.0);
}

void Desk::view_buttons() {
  const auto is_lane_open = [this](LaneKind kind) {
    return std::ranges::any_of(state_.lanes, [kind](const LaneSetting& lane) {
      return lane.kind == kind && !lane.is_folded;
    });
  };
  ImGui::SameLine(std::max(ImGui::GetCursorPosX(), ImGui::GetWindowWidth() - 232.0F * scale_));
  action_button(Action::follow, "follow", state_.follows_playing);
  ImGui::SameLine();
  action_button(Action::lens, "evidence", is_lane_open(LaneKind::lens));
  ImGui::SameLine();
  action_button(Action::roles, "roles", is_lane_open(LaneKind::roles));
}

void Desk::side_panel() {
  struct Tab {
    SidePanel panel;
    Action action;
    const char* label;
  };
  static constexpr Tab tabs[] = {{SidePanel::note, Action::show_note, "Note"},
                                 {SidePanel::doubts, Action::show_doubts, "Doubts"},
                                 {SidePanel::passages, Action::show_passages, "Passages"},
                                 {SidePanel::take, Action::show_take, "Take"},
                                 {SidePanel::history, Action::show_history, "Done"}};
  for (const Tab& tab : tabs) {
    if (tab.panel != SidePanel::note) ImGui::SameLine(0.0F, 3.0F * scale_);
    action_button(tab.action, tab.label, state_.side_panel == tab.panel);
  }
  ImGui::BeginChild("panel", {0.0F, 0.0F}, true);
  switch (state_.side_panel) {
    case SidePanel::note:
      note_panel();
      break;
    case SidePanel::doubts:
      doubts_panel();
      break;
    case SidePanel::passages:
      passages_panel();
      break;
    case SidePanel::take:
      take_panel();
      break;
    case SidePanel::history:
      history_panel();
      break;
  }
  ImGui::EndChild();
}

void Desk::note_panel() {
  const take::Take& take = session_.take();
  const auto index = note_at_hand();
  if (index) {
    const take::Note note = take.notes[*index];
    const auto key = take::key_of(take);
    ImGui::PushFont(fonts_->number);
    plain(fmt::format("{}{}", theory::pitch_text(note.midi, key), note.is_dead ? " (dead)" : ""));
    ImGui::PopFont();
    ImGui::SameLine();
    ImGui::AlignTextToFramePadding();
    const bool is_doubt = take::is_doubt(note, state_.doubt_threshold);
    plain(fmt::format("{}, {}", sheet::place_text(take, note.onset_samples),
                      state_text(note.state == take::State::confirmed, is_doubt)));
    if (state_.notes.size() > 1)
      plain(fmt::format("and {} more selected", state_.notes.size() - 1));
    const auto& roles = session_.digest(state_.doubt_threshold).roles;
    if (*index < roles.size() && roles[*index]) {
      ImGui::PushTextWrapPos(0.0F);
      ImGui::TextDisabled("%s", roles[*index]->reason.empty()
                                    ? std::string(theory::role_text(roles[*index]->role)).c_str()
                                    : roles[*index]->reason.c_str());
      ImGui::PopTextWrapPos();
    }
    if (note.position) {
      ImGui::TextDisabled(
          "%s",
          fmt::format(
              "string {}, fret {}{}{}", note.position->string_number, note.position->fret,
              note.position->finger > 0 ? fmt::format(", finger {}", note.position->finger) : "",
              note.is_position_pinned ? " (chosen)" : "")
              .c_str());
    }
    if (note.state == take::State::proposed) {
      plain(fmt::format("sure to {:.0f} %, of the octave to {:.0f} %", note.confidence * 100.0,
                        note.octave_margin * 100.0));
    }
    bool is_first = true;
    for (const dsp::PitchCandidate& other : note.alternatives) {
      // Under one in two hundred: nothing that a player would choose from.
      if (other.probability < 0.005) continue;
      const float end_of_row = ImGui::GetWindowPos().x + ImGui::GetWindowWidth();
      if (!is_first && ImGui::GetItemRectMax().x + 90.0F * scale_ < end_of_row) ImGui::SameLine();
      is_first = false;
      ImGui::PushID(other.midi);
      const std::string label = fmt::format("{}  {:.0f} %", theory::pitch_text(other.midi, key),
                                            other.probability * 100.0);
      if (ImGui::Button(label.c_str())) apply(set_pitch(take, note.id, other.midi));
      if (ImGui::IsItemHovered()) ImGui::SetTooltip("the note is this");
      ImGui::PopID();
    }
    action_button(Action::confirm, "Right");
    ImGui::SameLine();
    action_button(Action::doubt_and_next, "Doubtful");
    ImGui::SameLine();
    action_button(Action::compare, "Compare", compared_.has_value());
    ImGui::SameLine();
    action_button(Action::remove, "Remove");
    ImGui::Separator();
  }
  for (std::size_t i = 0; index && i < take.remarks.size(); ++i) {
    if (take.remarks[i].note != take.notes[*index].id) continue;
    ImGui::TextWrapped("%s", take.remarks[i].text.c_str());
    ImGui::Separator();
  }
  if (const auto chord = chord_at_hand()) {
    chord_part(*chord);
  } else if (!index) {
    ImGui::PushTextWrapPos(0.0F);
    ImGui::TextDisabled(
        "Click a number to see how sure it is and what else it may be. Type a fret "
        "to change it, arrows to move it.");
    ImGui::PopTextWrapPos();
  }
}

void Desk::chord_part(std::size_t index) {
  const take::Take& take = session_.take();
  const take::ChordSpan span = take.chords[index];
  ImGui::PushFont(fonts_->number);
  plain(take::chord_name(take, span));
  ImGui::PopFont();
  ImGui::SameLine();
  ImGui::AlignTextToFramePadding();
  plain(fmt::format("{}{}{}",
                    state_text(span.state == take::State::confirmed,
                               take::is_doubt(span, state_.doubt_threshold)),
                    span.state == take::State::confirmed
                        ? ""
                        : fmt::format(", {:.0f} %", span.confidence * 100.0),
                    span.is_implied ? ", by the bass alone" : ""));
  const auto key = take::key_of(take);
  for (std::size_t i = 0; i < span.alternatives.size(); ++i) {
    ImGui::PushID(static_cast<int>(i));
    const dsp::ChordCandidate& other = span.alternatives[i];
    if (other.probability < 0.005) {
      ImGui::PopID();
      continue;
    }
    if (i > 0) ImGui::SameLine();
    const std::string label =
        fmt::format("{} {:.0f}%", theory::chart_label(other.chord, key), other.probability * 100.0);
    if (ImGui::Button(label.c_str())) apply(choose_chord(take, span.id, other.chord));
    ImGui::PopID();
  }
  if (ImGui::Button("Name")) naming_ = ChordNaming{.id = span.id};
  tip(Action::name_chord);
  ImGui::SameLine();
  if (ImGui::Button("Chord is right")) {
    apply(confirm(Selected{.notes = {}, .chord = span.id, .beat = {}}));
  }
}

void Desk::doubts_panel() {
  const Digest& digest = session_.digest(state_.doubt_threshold);
  const take::Take& take = session_.take();
  plain(
      fmt::format("{} notes, {} chords", digest.doubtful_note_count, digest.doubtful_chord_count));
  ImGui::SameLine();
  ImGui::Checkbox("least sure first", &state_.are_doubts_by_certainty);
  action_button(Action::next_doubt, "Next");
  ImGui::SameLine();
  action_button(Action::confirm, "Right");
  ImGui::SameLine();
  action_button(Action::doubt_and_next, "Doubtful");
  std::vector<const Doubt*> sorted;
  sorted.reserve(digest.doubts.size());
  for (const Doubt& doubt : digest.doubts) sorted.push_back(&doubt);
  if (state_.are_doubts_by_certainty) {
    std::ranges::stable_sort(sorted, {}, &Doubt::certainty);
  }
  const auto key = take::key_of(take);
  ImGui::BeginChild("doubts");
  ImGuiListClipper clipper;
  clipper.Begin(static_cast<int>(sorted.size()));
  while (clipper.Step()) {
    for (int row = clipper.DisplayStart; row < clipper.DisplayEnd; ++row) {
      const Doubt& doubt = *sorted[static_cast<std::size_t>(row)];
      const bool is_note = doubt.kind == Doubt::Kind::note;
      const std::string what = is_note ? theory::pitch_text(take.notes[doubt.index].midi, key)
                                       : take::chord_name(take, take.chords[doubt.index]);
      const std::string label =
          fmt::format("{:<9}{:<8}{:>3.0f} %", sheet::place_text(take, doubt.at_samples), what,
                      doubt.certainty * 100.0);
      ImGui::PushID(is_note ? static_cast<int>(doubt.index) : -1 - static_cast<int>(doubt.index));
      ImGui::PushFont(fonts_->mono);
      const bool is_selected = is_note ? state_.is_selected(take.notes[doubt.index].id)
                                       : state_.chord == take.chords[doubt.index].id;
      if (ImGui::Selectable(label.c_str(), is_selected)) select_doubt(doubt, false);
      ImGui::PopFont();
      ImGui::PopID();
    }
  }
  ImGui::EndChild();
}

}  // namespace lowstride::desk
