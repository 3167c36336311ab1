#include "gui/draw/versions_dialog.hpp"

#include <algorithm>
#include <chrono>

#include <fmt/format.h>
#include <imgui.h>

#include "src/take/storage.hpp"

namespace lowstride::desk {
namespace {

std::string contents_text(const std::filesystem::path& path) {
  const auto loaded = take::load_take(path);
  if (!loaded) return "damaged";
  const take::Take& take = loaded->take;
  const auto confirmed = std::ranges::count(take.notes, take::State::confirmed, &take::Note::state);
  return fmt::format("{} notes, {} of them confirmed, {} chords", take.notes.size(), confirmed,
                     take.chords.size());
}

}  // namespace

std::vector<VersionsDialog::Row> VersionsDialog::rows_of(const std::filesystem::path& take_path) {
  std::vector<Row> rows;
  for (const take::KeptVersion& version : take::kept_versions(take_path)) {
    rows.push_back({version.path, fmt::format("{}   {}", take::saved_text(version),
                                              contents_text(version.path))});
  }
  return rows;
}

void VersionsDialog::show(const std::filesystem::path& take_path) {
  is_open_ = true;
  is_fresh_ = true;
  rows_.clear();
  reading_ = std::async(std::launch::async, [take_path] { return rows_of(take_path); });
}

std::optional<std::filesystem::path> VersionsDialog::draw(float scale) {
  if (reading_.valid() && reading_.wait_for(std::chrono::seconds(0)) == std::future_status::ready) {
    rows_ = reading_.get();
  }
  // It appears with its rows, so that the keyboard is at the first.
  if (!is_open_ || is_busy()) return std::nullopt;
  std::optional<std::filesystem::path> chosen;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowSize({std::min(620.0F * scale, screen.x * 0.92F), 0.0F}, ImGuiCond_Always);
  ImGui::SetNextWindowPos({screen.x / 2, screen.y * 0.2F}, ImGuiCond_Always, {0.5F, 0.0F});
  if (is_fresh_) ImGui::SetNextWindowFocus();
  is_fresh_ = false;
  if (ImGui::Begin("Versions kept", &is_open_,
                   ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoMove |
                       ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoSavedSettings)) {
    ImGui::TextWrapped(
        "%s",
        fmt::format("Each save keeps the version before it, up to {}. The one that you choose "
                    "changes places with the take: nothing is lost, and choosing again leads "
                    "back.",
                    take::most_kept_versions)
            .c_str());
    ImGui::Separator();
    for (const Row& row : rows_) {
      ImGui::PushID(row.path.c_str());
      if (ImGui::Selectable(row.text.c_str())) chosen = row.path;
      if (&row == &rows_.front()) ImGui::SetItemDefaultFocus();
      if (ImGui::IsItemHovered()) ImGui::SetTooltip("%s", row.path.filename().c_str());
      ImGui::PopID();
    }
    if (rows_.empty()) ImGui::TextDisabled("There is none yet: save the take twice.");
  }
  ImGui::End();
  if (chosen) is_open_ = false;
  return chosen;
}

}  // namespace lowstride::desk
