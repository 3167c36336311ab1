#include "gui/draw/file_browser.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <sstream>
#include <string_view>

#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/focus.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;

constexpr std::array<std::string_view, 22> sound_endings{
    ".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif",  ".aiff", ".caf", ".m4a", ".mp4",
    ".mov", ".webm", ".mkv", ".wma", ".aac",  ".w64", ".rf64", ".3gp",  ".amr", ".m4b", ".alac"};
constexpr std::size_t most_entries = 5000;

std::string lowered(std::string text) {
  std::ranges::transform(text, text.begin(),
                         [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

}  // namespace

std::vector<FolderEntry> folder_entries(const fs::path& folder) {
  std::vector<FolderEntry> entries;
  std::error_code error;
  for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
    if (entries.size() >= most_entries) break;
    const std::string name = at->path().filename().string();
    if (name.starts_with('.')) continue;
    std::error_code ignored;
    const bool is_folder = at->is_directory(ignored);
    const std::string ending = lowered(at->path().extension().string());
    const bool is_take = ending == ".take";
    if (!is_folder && !is_take && std::ranges::find(sound_endings, ending) == sound_endings.end()) {
      continue;
    }
    entries.push_back({at->path(), is_folder, is_take});
  }
  std::ranges::sort(entries, [](const FolderEntry& a, const FolderEntry& b) {
    if (a.is_folder != b.is_folder) return a.is_folder;
    return lowered(a.path.filename().string()) < lowered(b.path.filename().string());
  });
  return entries;
}

std::vector<FolderEntry> filtered(const std::vector<FolderEntry>& entries,
                                  const std::string& filter) {
  std::vector<std::string> words;
  std::istringstream stream(lowered(filter));
  for (std::string word; stream >> word;) words.push_back(word);
  std::vector<FolderEntry> kept;
  for (const FolderEntry& entry : entries) {
    const std::string name = lowered(entry.path.filename().string());
    const bool has_all = std::ranges::all_of(
        words, [&](const std::string& word) { return name.find(word) != std::string::npos; });
    if (has_all) kept.push_back(entry);
  }
  return kept;
}

void FileBrowser::show(const fs::path& folder, Wanted wanted) {
  wanted_ = wanted;
  is_open_ = true;
  is_fresh_ = true;
  go(folder);
}

void FileBrowser::go(const fs::path& folder) {
  std::error_code error;
  fs::path whole = fs::weakly_canonical(folder, error);
  if (error || !fs::is_directory(whole, error)) whole = fs::current_path(error);
  folder_ = whole;
  typed_folder_ = folder_.string();
  entries_ = folder_entries(folder_);
  if (wanted_ == Wanted::sound) {
    std::erase_if(entries_, [](const FolderEntry& entry) { return entry.is_take; });
  }
  filter_.clear();
}

std::optional<fs::path> FileBrowser::draw(const std::vector<fs::path>& recent, float scale) {
  if (!is_open_) return std::nullopt;
  std::optional<fs::path> chosen;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowSize(
      {std::min(760.0F * scale, screen.x * 0.92F), std::min(520.0F * scale, screen.y * 0.9F)},
      ImGuiCond_Always);
  ImGui::SetNextWindowPos({screen.x / 2, screen.y / 2}, ImGuiCond_Always, {0.5F, 0.5F});
  if (is_fresh_) ImGui::SetNextWindowFocus();
  const bool takes_sound = wanted_ == Wanted::sound;
  if (ImGui::Begin(takes_sound ? "Choose a recording" : "Open a recording or take", &is_open_,
                   ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoMove |
                       ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoSavedSettings)) {
    if (ImGui::Button("Folder above")) go(folder_.parent_path());
    ImGui::SameLine();
    ImGui::SetNextItemWidth(-1.0F);
    if (ImGui::InputText("##folder", &typed_folder_, ImGuiInputTextFlags_EnterReturnsTrue)) {
      std::error_code ignored;
      const fs::path typed = typed_folder_;
      if (fs::is_regular_file(typed, ignored)) {
        chosen = typed;
      } else {
        go(typed);
      }
    }
    if (is_fresh_) ImGui::SetKeyboardFocusHere();
    is_fresh_ = false;
    ImGui::SetNextItemWidth(-1.0F);
    const bool is_entered = ImGui::InputTextWithHint("##filter", "part of the name", &filter_,
                                                     ImGuiInputTextFlags_EnterReturnsTrue);
    const std::vector<FolderEntry> shown = filtered(entries_, filter_);
    std::optional<fs::path> wanted_folder;
    const auto take_entry = [&](const FolderEntry& entry) {
      if (entry.is_folder) {
        wanted_folder = entry.path;
      } else {
        chosen = entry.path;
      }
    };
    if (is_entered && !shown.empty()) take_entry(shown.front());
    ImGui::BeginChild("entries", {ImGui::GetContentRegionAvail().x * 0.6F, 0.0F}, true,
                      keyboard_passes);
    for (const FolderEntry& entry : shown) {
      const std::string name = entry.path.filename().string();
      const std::string label = entry.is_folder ? name + "/" : name;
      ImGui::PushID(name.c_str());
      if (entry.is_take)
        ImGui::PushStyleColor(ImGuiCol_Text, ImGui::GetStyleColorVec4(ImGuiCol_PlotHistogram));
      if (ImGui::Selectable(label.c_str())) take_entry(entry);
      if (entry.is_take) ImGui::PopStyleColor();
      ImGui::PopID();
    }
    if (shown.empty()) {
      ImGui::TextDisabled("%s", takes_sound ? "No recordings or folders here."
                                            : "No takes, recordings or folders here.");
    }
    ImGui::EndChild();
    ImGui::SameLine();
    ImGui::BeginChild("recent", {0.0F, 0.0F}, true, keyboard_passes);
    ImGui::TextDisabled("Opened before");
    for (const fs::path& path : recent) {
      ImGui::PushID(path.c_str());
      if (ImGui::Selectable(path.filename().c_str())) chosen = path;
      if (ImGui::IsItemHovered()) ImGui::SetTooltip("%s", path.c_str());
      ImGui::PopID();
    }
    if (recent.empty()) ImGui::TextDisabled("Nothing yet.");
    ImGui::EndChild();
    if (wanted_folder) go(*wanted_folder);
  }
  ImGui::End();
  if (chosen) is_open_ = false;
  return chosen;
}

}  // namespace lowstride::desk
