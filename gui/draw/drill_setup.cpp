#include <algorithm>
#include <chrono>
#include <cmath>
#include <future>
#include <string>
#include <utility>

#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/drill_window.hpp"

// What is chosen before a session of ear training, and how it goes.
namespace lowstride::desk {

void DrillWindow::set_up() {
  ImGui::TextWrapped(
      "Questions are made from the notes and chords that you confirmed. Answer first, what was "
      "right comes afterwards; hints cost something. Kinds are mixed on purpose.");
  for (const std::string& words : drill::care_words()) ImGui::TextWrapped("%s", words.c_str());
  ImGui::Separator();
  const float width = 260.0F * ImGui::GetFontSize() / 15.0F;
  ImGui::SetNextItemWidth(width);
  ImGui::InputText("whose ears", &choice_.player);
  float minutes = static_cast<float>(choice_.minutes);
  ImGui::SetNextItemWidth(width);
  if (ImGui::SliderFloat("##minutes", &minutes, 3.0F, 45.0F, "%.0f minutes")) {
    choice_.minutes = std::round(minutes);
  }
  ImGui::SetNextItemWidth(width);
  if (ImGui::BeginCombo("##passage", choice_.passage.value_or("the whole take").c_str())) {
    if (ImGui::Selectable("the whole take", !choice_.passage)) choice_.passage.reset();
    for (const take::Passage& passage : take_.passages) {
      if (ImGui::Selectable(passage.name.c_str(), choice_.passage == passage.name)) {
        choice_.passage = passage.name;
      }
    }
    ImGui::EndCombo();
  }
  ImGui::TextDisabled("What is asked (nothing chosen: all in turn)");
  for (const drill::Kind kind : drill::all_kinds()) {
    const auto at = std::ranges::find(choice_.kinds, kind);
    bool is_chosen = at != choice_.kinds.end();
    if (ImGui::Checkbox(std::string(drill::kind_text(kind)).c_str(), &is_chosen)) {
      if (is_chosen) {
        choice_.kinds.push_back(kind);
      } else {
        choice_.kinds.erase(at);
      }
    }
  }
  input_part(width);
  ImGui::BeginDisabled(opening_.valid());
  if (ImGui::Button("Begin", {width, 0.0F})) begin();
  ImGui::SetItemDefaultFocus();
  ImGui::EndDisabled();
  ImGui::SameLine();
  if (ImGui::Button("How it goes")) show_progress();
  if (!trouble_.empty()) ImGui::TextWrapped("%s", trouble_.c_str());
}

/// How notes and lines are answered that could be played.
void DrillWindow::input_part(float width) {
  ImGui::TextDisabled("Notes and lines are answered");
  const auto offer = [this](const char* label, AnswerInput input) {
    if (ImGui::RadioButton(label, choice_.input == input)) choice_.input = input;
  };
  offer("by typing and clicking", AnswerInput::none);
  offer("by playing or singing into the microphone or line in", AnswerInput::device);
  offer("from a file of what was played", AnswerInput::file);
  if (choice_.input == AnswerInput::device) {
    list_devices();
    const std::string usual = "the system's own input";
    ImGui::SetNextItemWidth(width);
    if (ImGui::BeginCombo("##device", (choice_.device.empty() ? usual : choice_.device).c_str())) {
      if (ImGui::Selectable(usual.c_str(), choice_.device.empty())) choice_.device.clear();
      for (const std::string& name : devices_) {
        ImGui::PushID(name.c_str());
        if (ImGui::Selectable(name.c_str(), choice_.device == name)) choice_.device = name;
        ImGui::PopID();
      }
      ImGui::EndCombo();
    }
  }
  if (choice_.input == AnswerInput::file) {
    if (ImGui::Button("File …")) browse();
    ImGui::SameLine();
    ImGui::TextUnformatted(choice_.answers.empty() ? "none chosen yet"
                                                   : choice_.answers.filename().c_str());
  }
}

/// Asks the system for its inputs, once, in the background.
void DrillWindow::list_devices() {
  if (listing_.valid() && listing_.wait_for(std::chrono::seconds(0)) == std::future_status::ready) {
    devices_ = listing_.get();
  }
  if (std::exchange(has_listed_, true)) return;
  listing_ = std::async(std::launch::async, [] { return audio::input_device_names(); });
}

void DrillWindow::browse() {
  const std::filesystem::path& beside = choice_.answers.empty() ? path_ : choice_.answers;
  browser_.show(beside.parent_path(), FileBrowser::Wanted::sound);
}

void DrillWindow::show_progress() {
  if (plotting_.valid()) return;
  plotting_ = std::async(std::launch::async, [player = choice_.player] {
    const auto path = drill::history_path(player);
    if (!path) return Pixels{};
    const auto history = drill::History::open(*path);
    if (!history) return Pixels{};
    const auto answers = history->answers();
    if (!answers) return Pixels{};
    auto pixels = pixels_of(drill::progress_png(drill::progress_of(*answers), player));
    return pixels ? std::move(*pixels) : Pixels{};
  });
}

void DrillWindow::progress_part() {
  ImGui::BeginChild("progress", {0.0F, 0.0F}, true);
  if (plot_ != nullptr) {
    const float width = ImGui::GetContentRegionAvail().x;
    ImGui::Image(plot_, {width, width * static_cast<float>(plot_size_.height) /
                                    static_cast<float>(std::max(1, plot_size_.width))});
  } else {
    ImGui::TextDisabled("%s", plotting_.valid()
                                  ? "drawing …"
                                  : "How it goes: right answers by role, interval, register and "
                                    "tempo,\nand what was heard for what was played.");
  }
  ImGui::EndChild();
}

}  // namespace lowstride::desk
