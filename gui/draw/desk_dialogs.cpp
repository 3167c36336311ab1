#include <algorithm>

#include <fmt/format.h>
#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/desk.hpp"
#include "gui/draw/focus.hpp"
#include "gui/gesture/grid_edits.hpp"
#include "src/sheet/summary.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::desk {
namespace {

constexpr ImGuiWindowFlags fixed_window = ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoResize |
                                          ImGuiWindowFlags_NoMove |
                                          ImGuiWindowFlags_NoSavedSettings;

void next_window(ImVec2 size, ImVec2 at, ImVec2 pivot) {
  ImGui::SetNextWindowSize(size, ImGuiCond_Always);
  ImGui::SetNextWindowPos(at, ImGuiCond_Always, pivot);
}

}  // namespace

void Desk::dialogs() {
  if (const auto chosen = browser_.draw(settings_.recent, scale_)) open(*chosen);
  if (auto said = export_.draw(session_, state_, *fonts_, scale_)) say(std::move(*said));
  drill_.draw({*ImGui::GetForegroundDrawList(), theme(), *fonts_, scale_},
              settings_.is_neck_mirrored);
  if (const auto version = versions_.draw(scale_)) {
    if (const auto done = session_.open_version(*version); !done) say(done.error().message);
  }
  chord_dialog();
  passage_dialog();
  remark_dialog();
  help_page();
  recovery_notice();
}

void Desk::chord_dialog() {
  if (!naming_) return;
  const take::Take& take = session_.take();
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  next_window({300.0F * scale_, 0.0F}, {screen.x * 0.4F, screen.y * 0.3F}, {0.5F, 0.0F});
  if (naming_->is_new) ImGui::SetNextWindowFocus();
  bool is_open = true;
  std::optional<std::string> chosen;
  if (ImGui::Begin("Chord", &is_open, fixed_window)) {
    if (naming_->is_new) ImGui::SetKeyboardFocusHere();
    naming_->is_new = false;
    ImGui::SetNextItemWidth(-1.0F);
    if (ImGui::InputTextWithHint("##label", "Bb7/D, Cm7b5, N.C.", &naming_->text,
                                 ImGuiInputTextFlags_EnterReturnsTrue) &&
        !naming_->text.empty()) {
      chosen = naming_->text;
    }
    for (const std::string& label : chord_completions(take, naming_->id, naming_->text, 7)) {
      if (ImGui::Selectable(label.c_str())) chosen = label;
    }
  }
  ImGui::End();
  if (chosen) {
    const auto edit = naming_->id ? set_chord_label(take, *naming_->id, *chosen)
                                  : add_chord(take, naming_->at_samples, *chosen);
    if (!edit) {
      say(edit.error().message);
      return;
    }
    apply(edit);
    is_open = false;
  }
  if (!is_open) naming_.reset();
}

void Desk::passage_dialog() {
  if (!passage_naming_) return;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  next_window({320.0F * scale_, 0.0F}, {screen.x * 0.4F, screen.y * 0.3F}, {0.5F, 0.0F});
  if (passage_naming_->is_new) ImGui::SetNextWindowFocus();
  bool is_open = true;
  if (ImGui::Begin("Passage", &is_open, fixed_window)) {
    if (passage_naming_->is_new) ImGui::SetKeyboardFocusHere();
    passage_naming_->is_new = false;
    ImGui::SetNextItemWidth(-1.0F);
    const bool is_entered =
        ImGui::InputText("##name", &passage_naming_->name,
                         ImGuiInputTextFlags_EnterReturnsTrue | ImGuiInputTextFlags_AutoSelectAll);
    if (ImGui::Button("Keep") || is_entered) {
      const PassageNaming& naming = *passage_naming_;
      const take::Edit edit =
          naming.id ? take::Edit{take::ReplacePassage{*naming.id, naming.name,
                                                      naming.stretch.begin_samples,
                                                      naming.stretch.end_samples}}
                    : take::Edit{take::AddPassage{naming.name, naming.stretch.begin_samples,
                                                  naming.stretch.end_samples}};
      apply(Result<take::Edit>(edit));
      is_open = false;
    }
  }
  ImGui::End();
  if (!is_open) passage_naming_.reset();
}

void Desk::remark_dialog() {
  if (!remark_writing_) return;
  RemarkWriting& writing = *remark_writing_;
  const take::Take& take = session_.take();
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  next_window({420.0F * scale_, 0.0F}, {screen.x * 0.4F, screen.y * 0.3F}, {0.5F, 0.0F});
  if (writing.is_new) ImGui::SetNextWindowFocus();
  bool is_open = true;
  if (ImGui::Begin("Remark", &is_open, fixed_window)) {
    std::int64_t at = writing.at_samples;
    std::optional<take::NoteId> about = writing.note;
    if (const auto index = writing.id ? index_of(take, *writing.id) : std::nullopt) {
      at = place_of(take, take.remarks[*index]);
      about = take.remarks[*index].note;
    }
    const auto note = about ? index_of(take, *about) : std::nullopt;
    if (note) at = take.notes[*note].onset_samples;
    ImGui::TextDisabled("%s", fmt::format("On the {} at {}; it is printed on the sheets.",
                                          note ? "note" : "bar", sheet::place_text(take, at))
                                  .c_str());
    if (writing.is_new) ImGui::SetKeyboardFocusHere();
    writing.is_new = false;
    ImGui::SetNextItemWidth(-1.0F);
    const bool is_entered =
        ImGui::InputTextWithHint("##text", "what the pupil should know", &writing.text,
                                 ImGuiInputTextFlags_EnterReturnsTrue);
    if (ImGui::Button("Keep") || is_entered) {
      is_open = false;
      if (writing.text.empty()) {
        if (writing.id) apply(take::Edit{take::RemoveRemark{*writing.id}});
      } else if (writing.id) {
        apply(take::Edit{take::ReplaceRemark{*writing.id, writing.text}});
      } else {
        apply(take::Edit{take::AddRemark{writing.at_samples, writing.note, writing.text}});
      }
    }
    if (writing.id) {
      ImGui::SameLine();
      if (ImGui::Button("Take it away")) {
        is_open = false;
        apply(take::Edit{take::RemoveRemark{*writing.id}});
      }
    }
  }
  ImGui::End();
  if (!is_open) remark_writing_.reset();
}

void Desk::help_page() {
  if (!is_help_open_) return;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  next_window({screen.x * 0.92F, screen.y * 0.92F}, {screen.x / 2, screen.y / 2}, {0.5F, 0.5F});
  if (ImGui::Begin("Keys and help", &is_help_open_, fixed_window)) {
    ImGui::TextWrapped(
        "Wheel: zoom where the pointer is; with Shift: scroll. Drag over the bar numbers: mark and "
        "loop. Drag a number: another time, or up and down another string; its edges: onset and "
        "end (Alt: free of the grid). Digits: the fret. Double click: add a note, name a chord, "
        "add a beat. Right click: what can be done here. Click a key below to change it.");
    const std::vector<KeyConflict> conflicts = settings_.keys.conflicts();
    for (const KeyConflict& conflict : conflicts) {
      ImGui::TextWrapped("%s", fmt::format("{} does two things: \"{}\" and \"{}\"; change one.",
                                           key_text(conflict.key), info_of(conflict.first).name,
                                           info_of(conflict.second).name)
                                   .c_str());
    }
    if (ImGui::Button("First keys")) settings_.keys = KeyMap();
    ImGui::SetItemDefaultFocus();
    ImGui::BeginChild("keys", {0.0F, 0.0F}, false, keyboard_passes);
    const int columns = std::max(1, static_cast<int>(screen.x / (400.0F * scale_)));
    if (ImGui::BeginTable("actions", columns, ImGuiTableFlags_SizingStretchSame)) {
      std::string_view heading;
      const std::size_t rows = (action_count + 16 + static_cast<std::size_t>(columns) - 1) /
                               static_cast<std::size_t>(columns);
      ImGui::TableNextRow();
      ImGui::TableNextColumn();
      std::size_t row = 0;
      for (const ActionInfo& info : all_actions()) {
        if (row >= rows) {
          ImGui::TableNextColumn();
          row = 0;
          heading = {};  // said again at the top of a column
        }
        if (info.heading != heading) {
          heading = info.heading;
          ImGui::TextDisabled("%s", std::string(heading).c_str());
          ++row;
        }
        ++row;
        ImGui::PushID(static_cast<int>(info.action));
        const bool is_wanted = key_wanted_ == info.action;
        const std::string key = key_text(settings_.keys.key_of(info.action));
        if (ImGui::Button(is_wanted     ? "press a key"
                          : key.empty() ? "–"
                                        : key.c_str(),
                          {128.0F * scale_, 0.0F})) {
          key_wanted_ = is_wanted ? std::nullopt : std::optional(info.action);
        }
        ImGui::PopID();
        ImGui::SameLine();
        ImGui::AlignTextToFramePadding();
        ImGui::TextUnformatted(info.name.data(), info.name.data() + info.name.size());
      }
      ImGui::EndTable();
    }
    ImGui::EndChild();
  }
  ImGui::End();
}

void Desk::recovery_notice() {
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  if (is_recovery_open_ && session_.history() != nullptr) {
    next_window({480.0F * scale_, 0.0F}, {screen.x / 2, screen.y * 0.35F}, {0.5F, 0.5F});
    if (ImGui::Begin("Taken up again", &is_recovery_open_, fixed_window)) {
      const std::vector<std::string> done = session_.history()->done();
      ImGui::TextWrapped(
          "%s", fmt::format("{} The last one: {}.", recovery_text_, done.empty() ? "" : done.back())
                    .c_str());
      if (ImGui::Button("Keep them  (Esc)")) is_recovery_open_ = false;
      ImGui::SameLine();
      if (ImGui::Button("Back to what was saved")) {
        for (std::size_t i = 0; i < session_.recovered_count(); ++i) run(Action::undo);
        is_recovery_open_ = false;
      }
      ImGui::SameLine();
      if (ImGui::Button("See them")) {
        state_.side_panel = SidePanel::history;
        is_recovery_open_ = false;
      }
    }
    ImGui::End();
  }
  if (notices_.empty()) return;
  next_window({520.0F * scale_, 0.0F}, {screen.x / 2, screen.y * 0.6F}, {0.5F, 0.5F});
  bool is_open = true;
  if (ImGui::Begin("Note this", &is_open, fixed_window)) {
    for (const std::string& notice : notices_) ImGui::TextWrapped("%s", notice.c_str());
    if (ImGui::Button("Good  (Esc)")) is_open = false;
  }
  ImGui::End();
  if (!is_open) notices_.clear();
}

bool Desk::menu_item(Action action) {
  const ActionInfo& info = info_of(action);
  const std::string key = key_text(settings_.keys.key_of(action));
  if (!ImGui::MenuItem(std::string(info.name).c_str(), key.c_str())) return false;
  run(action);
  return true;
}

void Desk::context_menu() {
  if (is_menu_wanted_) {
    is_menu_wanted_ = false;
    ImGui::OpenPopup("what can be done");
  }
  if (!ImGui::BeginPopup("what can be done")) return;
  const auto items = [this](std::initializer_list<Action> actions) {
    for (const Action action : actions) menu_item(action);
  };
  switch (menu_hit_.kind) {
    case Hit::Kind::note:
    case Hit::Kind::note_onset:
    case Hit::Kind::note_end:
      items({Action::confirm, Action::doubt_and_next, Action::play_selection, Action::compare});
      ImGui::Separator();
      items({Action::semitone_up, Action::semitone_down, Action::octave_higher,
             Action::octave_lower, Action::next_candidate, Action::string_higher,
             Action::string_lower, Action::unpin});
      ImGui::Separator();
      items({Action::split, Action::join, Action::tie, Action::dead, Action::remove,
             Action::select_alike, Action::chord_bass, Action::remark});
      break;
    case Hit::Kind::chord:
    case Hit::Kind::chord_edge:
      items({Action::confirm, Action::name_chord, Action::chord_1, Action::chord_2, Action::chord_3,
             Action::play_selection, Action::remove});
      break;
    case Hit::Kind::beat:
    case Hit::Kind::counts:
      items({Action::confirm, Action::beat_one, Action::insert_beat, Action::drop_beat,
             Action::double_beats, Action::halve_beats});
      break;
    case Hit::Kind::passage:
    case Hit::Kind::passage_begin:
    case Hit::Kind::passage_end:
      items({Action::play_selection, Action::name_passage, Action::passage_colour,
             Action::remove_passage});
      break;
    case Hit::Kind::remark:
      items({Action::remark, Action::remove});
      break;
    default:
      items({Action::play, Action::loop, Action::name_passage, Action::insert_chord, Action::remark,
             Action::add_note, Action::copy_bars, Action::zoom_take, Action::zoom_selection});
      break;
  }
  ImGui::EndPopup();
}

}  // namespace lowstride::desk
