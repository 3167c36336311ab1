#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/desk.hpp"
#include "src/analysis/fingering_edit.hpp"
#include "src/neck/named_necks.hpp"
#include "src/sheet/summary.hpp"

namespace lowstride::desk {
namespace {

ImVec4 vec(Colour colour) {
  return {static_cast<float>(colour.red) / 255.0F, static_cast<float>(colour.green) / 255.0F,
          static_cast<float>(colour.blue) / 255.0F, 1.0F};
}

}  // namespace

void Desk::passages_panel() {
  const take::Take& take = session_.take();
  action_button(Action::name_passage, state_.passage ? "Rename" : "Name the marked stretch");
  if (state_.passage) {
    ImGui::SameLine();
    action_button(Action::remove_passage, "Forget");
  }
  for (std::size_t i = 0; i < take.passages.size(); ++i) {
    const take::Passage& passage = take.passages[i];
    ImGui::PushID(static_cast<int>(static_cast<std::uint64_t>(passage.id)));
    const Colour colour = theme().passages[passage_colour(take, i)];
    ImGui::ColorButton("##colour", vec(colour),
                       ImGuiColorEditFlags_NoTooltip | ImGuiColorEditFlags_NoDragDrop,
                       {14.0F * scale_, 14.0F * scale_});
    ImGui::SameLine();
    const std::string label =
        fmt::format("{}   {} to {}", passage.name, sheet::place_text(take, passage.begin_samples),
                    sheet::place_text(take, passage.end_samples));
    if (ImGui::Selectable(label.c_str(), state_.passage == passage.id)) {
      state_.clear_selection();
      state_.passage = passage.id;
      state_.range = take::Stretch{passage.begin_samples, passage.end_samples};
      state_.is_loop_on = true;
      hearing_changed();
      go_to(passage.begin_samples);
    }
    if (state_.passage == passage.id) {
      // Its colour, to choose.
      for (std::size_t c = 0; c < theme().passages.size(); ++c) {
        if (c > 0) ImGui::SameLine();
        ImGui::PushID(static_cast<int>(c));
        if (ImGui::ColorButton("##choice", vec(theme().passages[c]),
                               ImGuiColorEditFlags_NoTooltip | ImGuiColorEditFlags_NoDragDrop,
                               {22.0F * scale_, 18.0F * scale_})) {
          colour_passage(i, c);
        }
        tip(Action::passage_colour);
        ImGui::PopID();
      }
    }
    ImGui::PopID();
  }
  if (take.passages.empty()) {
    ImGui::PushTextWrapPos(0.0F);
    ImGui::TextDisabled(
        "Drag over the bar numbers to mark a stretch: it loops. Name it to keep it.");
    ImGui::PopTextWrapPos();
  }
}

void Desk::take_panel() {
  const take::Take& take = session_.take();
  if (!is_take_text_fresh_) {
    is_take_text_fresh_ = true;
    title_text_ = take.title;
    composer_text_ = take.composer;
    tuning_text_ = neck::tuning_text(take.neck);
  }
  const auto field = [&](const char* label, std::string& text, auto make) {
    ImGui::SetNextItemWidth(-80.0F * scale_);
    ImGui::InputText(label, &text);
    if (ImGui::IsItemDeactivatedAfterEdit()) make();
  };
  field("title", title_text_,
        [&] { apply(Result<take::Edit>(take::Edit{take::SetTitle{title_text_}})); });
  field("composer", composer_text_,
        [&] { apply(Result<take::Edit>(take::Edit{take::SetComposer{composer_text_}})); });
  // Whose hand will play: the neck and a fingering for it are one step.
  const auto with_neck = [&](const neck::Neck& neck) {
    if (const auto sound = neck::check(neck); !sound) return say(sound.error().message);
    take::Take after = session_.take();
    const take::Edit edit{take::SetNeck{.neck = neck, .octave_shift = 0}};
    if (const auto done = take::apply(after, edit); !done) return say(done.error().message);
    const auto fingering = analysis::fingering_edit(after, std::nullopt);
    if (!fingering) return say(fingering.error().message);
    apply(Result<take::Edit>(
        take::Edit{take::EditGroup{.name = "Choose a neck", .edits = {edit, *fingering}}}));
  };
  ImGui::SetNextItemWidth(-80.0F * scale_);
  if (ImGui::BeginCombo("neck", take.neck.name.c_str())) {
    for (const neck::Neck& named : neck::named_necks()) {
      if (ImGui::Selectable(named.name.c_str(), named.name == take.neck.name)) with_neck(named);
    }
    ImGui::EndCombo();
  }
  field("strings", tuning_text_, [&] {
    const auto neck = neck::with_tuning(session_.take().neck, tuning_text_);
    if (!neck) return say(neck.error().message);
    with_neck(*neck);
  });
  int capo = take.neck.capo;
  ImGui::SetNextItemWidth(-80.0F * scale_);
  if (ImGui::InputInt("capo", &capo)) {
    neck::Neck neck = take.neck;
    neck.capo = std::clamp(capo, 0, 12);
    if (neck.capo != take.neck.capo) with_neck(neck);
  }
  int meter = take.beats_per_bar;
  ImGui::SetNextItemWidth(-80.0F * scale_);
  if (ImGui::InputInt("meter", &meter)) {
    apply(Result<take::Edit>(take::Edit{take::SetMeter{std::clamp(meter, 2, 12)}}));
  }
  double a4 = take.a4_hz;
  ImGui::SetNextItemWidth(-80.0F * scale_);
  ImGui::InputDouble("A4, Hz", &a4, 0.5, 1.0, "%.1f");
  if (ImGui::IsItemDeactivatedAfterEdit() && a4 != take.a4_hz) {
    apply(Result<take::Edit>(take::Edit{take::SetTuning{a4}}));
  }
  ImGui::BeginDisabled(session_.recording().empty());
  if (ImGui::Button("Listen again")) session_.listen_again();
  ImGui::EndDisabled();
  if (ImGui::IsItemHovered())
    ImGui::SetTooltip("analyses the recording anew; what is confirmed stays");
  ImGui::SameLine();
  action_button(Action::version_before, "Version before");
  ImGui::SameLine();
  action_button(Action::versions, "Versions");
  float threshold = static_cast<float>(state_.doubt_threshold * 100.0);
  ImGui::SetNextItemWidth(-1.0F);
  if (ImGui::SliderFloat("##doubt", &threshold, 30.0F, 99.0F, "doubt under %.0f %%")) {
    state_.doubt_threshold = std::round(threshold) / 100.0;
    settings_.doubt_threshold = state_.doubt_threshold;
  }
}

void Desk::history_panel() {
  const take::History* history = session_.history();
  if (history == nullptr) return;
  action_button(Action::undo, "Undo");
  ImGui::SameLine();
  action_button(Action::redo, "Redo");
  ImGui::SameLine();
  ImGui::AlignTextToFramePadding();
  ImGui::TextDisabled("click: back to there");
  ImGui::BeginChild("steps");
  const std::vector<std::string> done = history->done();
  const std::vector<std::string> undone = history->undone();
  // Latest first; what is undone above, faint.
  int steps = 0;
  for (std::size_t i = undone.size(); i-- > 0;) {
    ImGui::PushID(static_cast<int>(i));
    ImGui::PushStyleColor(ImGuiCol_Text, vec(theme().faint_text));
    if (ImGui::Selectable(undone[i].c_str())) steps = static_cast<int>(i) + 1;
    ImGui::PopStyleColor();
    ImGui::PopID();
  }
  for (std::size_t i = done.size(); i-- > 0;) {
    ImGui::PushID(static_cast<int>(10000 + i));
    if (ImGui::Selectable(done[i].c_str(), i + 1 == done.size())) {
      steps = -static_cast<int>(done.size() - 1 - i);
    }
    ImGui::PopID();
  }
  if (done.empty() && undone.empty()) ImGui::TextDisabled("Nothing has been changed.");
  ImGui::EndChild();
  for (; steps > 0; --steps) run(Action::redo);
  for (; steps < 0; ++steps) run(Action::undo);
}

}  // namespace lowstride::desk
