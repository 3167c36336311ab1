#include "gui/draw/export_dialog.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

#include <fmt/format.h>
#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "src/audio/score_of_take.hpp"
#include "src/sheet/export.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;

struct KindInfo {
  SheetKind kind;
  const char* name;
  const char* ending;
};
constexpr KindInfo kinds[] = {{SheetKind::text, "Tab as text", ".txt"},
                              {SheetKind::musicxml, "Staff and tab, MusicXML", ".musicxml"},
                              {SheetKind::midi, "MIDI file", ".mid"},
                              {SheetKind::tables, "Tables", ""},
                              {SheetKind::practice, "Practice audio", ".ogg"}};

const KindInfo& info_of(SheetKind kind) { return *std::ranges::find(kinds, kind, &KindInfo::kind); }

sheet::TextTabOptions text_options(const ExportChoice& choice,
                                   const std::optional<take::Stretch>& stretch) {
  sheet::TextTabOptions options;
  options.width_columns = choice.width_columns;
  options.has_roles = choice.has_roles;
  if (choice.is_stretch_only) options.layout.stretch = stretch;
  return options;
}

bool has_same_page(const ExportChoice& a, const ExportChoice& b) {
  return a.kind == b.kind && a.is_stretch_only == b.is_stretch_only && a.has_roles == b.has_roles &&
         a.width_columns == b.width_columns;
}

/// The grid for clicks and count-in: as part of the score where the job takes one, else by itself.
template <typename Job>
void give_beats(Job& job, const take::Take& take) {
  audio::Score score = audio::score_of_take(take);
  if constexpr (requires { job.score; }) {
    job.score = std::move(score);
  } else {
    job.beats = std::move(score.beats);
  }
}

Result<void> write_practice(const take::Take& take, const ExportChoice& choice,
                            const std::optional<take::Stretch>& stretch, const fs::path& recording,
                            const WorkControl& control) {
  if (recording.empty()) {
    return fail(ErrorCode::not_found, "Practice audio needs the recording, which was not found.");
  }
  audio::PracticeJob job;
  job.input = recording;
  job.output = choice.target;
  if (choice.is_stretch_only && stretch) {
    job.begin_sample = stretch->begin_samples;
    job.end_sample = stretch->end_samples;
  }
  give_beats(job, take);
  job.options.speed_ratios.assign(static_cast<std::size_t>(std::max(1, choice.repeat_count)),
                                  choice.speed_ratio);
  job.options.count_in_bars = choice.count_in_bars;
  job.options.click = choice.click;
  job.tags.title = take.title;
  const auto report = audio::render_practice(job, control);
  if (!report) return tl::unexpected(report.error());
  return {};
}

}  // namespace

fs::path usual_target(const fs::path& take_path, SheetKind kind) {
  fs::path target = take_path;
  target.replace_extension(info_of(kind).ending);
  return target;
}

Result<void> write_sheet(const take::Take& take, const ExportChoice& choice,
                         const std::optional<take::Stretch>& stretch, const fs::path& recording,
                         const WorkControl& control) {
  switch (choice.kind) {
    case SheetKind::text:
      return sheet::export_text(take, choice.target, text_options(choice, stretch));
    case SheetKind::musicxml:
      return sheet::export_musicxml(take, choice.target, text_options(choice, stretch).layout);
    case SheetKind::midi:
      return sheet::export_midi(take, choice.target);
    case SheetKind::tables:
      return sheet::export_tables(take, choice.target);
    case SheetKind::practice:
      return write_practice(take, choice, stretch, recording, control);
  }
  return {};
}

void ExportDialog::show(const fs::path& take_path) {
  is_open_ = true;
  is_fresh_ = true;
  take_path_ = take_path;
  choice_.target = usual_target(take_path, choice_.kind);
  target_text_ = choice_.target.string();
}

void ExportDialog::options(const DeskState& state) {
  for (const KindInfo& kind : kinds) {
    if (ImGui::RadioButton(kind.name, choice_.kind == kind.kind)) {
      choice_.kind = kind.kind;
      target_text_ = usual_target(take_path_, kind.kind).string();
    }
  }
  ImGui::Separator();
  const bool can_cut = choice_.kind == SheetKind::text || choice_.kind == SheetKind::musicxml ||
                       choice_.kind == SheetKind::practice;
  ImGui::BeginDisabled(!state.range || !can_cut);
  ImGui::Checkbox("only the marked stretch", &choice_.is_stretch_only);
  ImGui::EndDisabled();
  if (choice_.kind == SheetKind::text) {
    ImGui::Checkbox("roles under the notes", &choice_.has_roles);
    ImGui::SetNextItemWidth(-1.0F);
    ImGui::SliderInt("##width", &choice_.width_columns, 40, 160, "%d columns");
  }
  if (choice_.kind == SheetKind::practice) {
    float percent = static_cast<float>(choice_.speed_ratio * 100.0);
    ImGui::SetNextItemWidth(-1.0F);
    if (ImGui::SliderFloat("##speed", &percent, 20.0F, 150.0F, "speed %.0f %%")) {
      choice_.speed_ratio = percent / 100.0;
    }
    ImGui::SetNextItemWidth(-1.0F);
    ImGui::SliderInt("##repeat", &choice_.repeat_count, 1, 20, "%d times");
    ImGui::SetNextItemWidth(-1.0F);
    ImGui::SliderInt("##countin", &choice_.count_in_bars, 0, 4, "%d bars of count-in");
    int click = static_cast<int>(choice_.click);
    ImGui::SetNextItemWidth(-1.0F);
    if (ImGui::Combo("##click", &click,
                     "no click\0click on every beat\0click on 2 and 4\0click on 1\0")) {
      choice_.click = static_cast<audio::ClickPattern>(click);
    }
  }
}

void ExportDialog::preview(const Session& session, const DeskState& state, const Fonts& fonts) {
  const bool is_old = preview_revision_ != session.revision() || preview_stretch_ != state.range ||
                      !has_same_page(preview_choice_, choice_);
  if (is_old) {
    preview_revision_ = session.revision();
    preview_choice_ = choice_;
    preview_stretch_ = state.range;
    const take::Take& take = session.take();
    switch (choice_.kind) {
      case SheetKind::text:
      case SheetKind::musicxml: {
        sheet::TextTabOptions options = text_options(choice_, state.range);
        if (choice_.kind == SheetKind::musicxml) options.width_columns = 100;
        preview_ = sheet::render_text_tab(take, options);
        break;
      }
      case SheetKind::midi:
        preview_ = fmt::format("{} notes and {} beats, as they were played.\n", take.notes.size(),
                               take.beats.size());
        break;
      case SheetKind::tables: {
        const sheet::Tables tables = sheet::tables(take);
        preview_ = tables.notes_tsv.substr(0, 4000);
        break;
      }
      case SheetKind::practice:
        preview_ =
            "Start quietly: low notes in headphones are louder than they seem, and an hour\n"
            "of loops is long; take breaks.\n";
        break;
    }
  }
  ImGui::PushFont(fonts.mono);
  ImGui::TextUnformatted(preview_.data(), preview_.data() + preview_.size());
  ImGui::PopFont();
}

void ExportDialog::write(const Session& session, const DeskState& state) {
  choice_.target = target_text_;
  written_ = choice_.target;
  progress_ = std::make_unique<Progress>();
  writing_ = std::async(std::launch::async,
                        [take = session.take(), choice = choice_, stretch = state.range,
                         recording = session.recording(), control = progress_->control()] {
                          return write_sheet(take, choice, stretch, recording, control);
                        });
}

std::optional<std::string> ExportDialog::draw(const Session& session, const DeskState& state,
                                              const Fonts& fonts, float scale) {
  std::optional<std::string> said;
  if (writing_.valid() && writing_.wait_for(std::chrono::seconds(0)) == std::future_status::ready) {
    const auto done = writing_.get();
    said = done ? fmt::format("Written: {}", written_.string()) : done.error().message;
    if (done) is_open_ = false;
  }
  if (!is_open_) return said;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowSize({screen.x * 0.9F, screen.y * 0.9F}, ImGuiCond_Always);
  ImGui::SetNextWindowPos({screen.x / 2, screen.y / 2}, ImGuiCond_Always, {0.5F, 0.5F});
  if (is_fresh_) ImGui::SetNextWindowFocus();
  is_fresh_ = false;
  if (ImGui::Begin("Sheets and practice audio", &is_open_,
                   ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoMove |
                       ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoSavedSettings)) {
    ImGui::BeginChild("choice", {250.0F * scale, 0.0F});
    options(state);
    ImGui::Separator();
    ImGui::TextDisabled("Write to");
    ImGui::SetNextItemWidth(-1.0F);
    ImGui::InputText("##target", &target_text_);
    if (writing_.valid()) {
      ImGui::ProgressBar(static_cast<float>(progress_->share()), {-1.0F, 0.0F},
                         progress_->stage().c_str());
      if (ImGui::Button("Stop")) progress_->cancel();
    } else {
      if (ImGui::Button("Write", {-1.0F, 0.0F})) write(session, state);
    }
    ImGui::EndChild();
    ImGui::SameLine();
    ImGui::BeginChild("page", {0.0F, 0.0F}, true, ImGuiWindowFlags_HorizontalScrollbar);
    preview(session, state, fonts);
    ImGui::EndChild();
  }
  ImGui::End();
  return said;
}

}  // namespace lowstride::desk
