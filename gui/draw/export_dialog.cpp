#include "gui/draw/export_dialog.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <utility>

#include <fmt/format.h>
#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/focus.hpp"
#include "src/parts/levels.hpp"
#include "src/take/validate.hpp"

namespace lowstride::desk {
namespace {

struct KindInfo {
  SheetKind kind;
  const char* name;
  const char* tip;
};
constexpr KindInfo kind_infos[] = {
    {SheetKind::pdf, "PDF", "pages to print and hand out"},
    {SheetKind::text, "Text tab", "for mail and plain text"},
    {SheetKind::svg, "SVG", "a drawing of each page"},
    {SheetKind::png, "PNG", "a picture of each page"},
    {SheetKind::musicxml, "MusicXML", "staff and tab for other programs"},
    {SheetKind::midi, "MIDI", "the line as a MIDI file"},
    {SheetKind::tables, "Tables", "notes, chords and beats as tables"},
    {SheetKind::practice, "Practice audio", "slowed, repeated, with clicks"}};

constexpr int dots_step = 12;
constexpr double points_an_inch = 72.0;
constexpr double a4_width_points = 595.0;

template <typename T>
bool is_ready(const std::future<T>& future) {
  return future.valid() && future.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
}

void wide() { ImGui::SetNextItemWidth(-1.0F); }

bool percent_slider(const char* id, double& ratio, const char* format) {
  float percent = static_cast<float>(ratio * 100.0);
  wide();
  if (!ImGui::SliderFloat(id, &percent, 20.0F, 150.0F, format)) return false;
  ratio = std::round(percent) / 100.0;
  return true;
}

bool is_page(SheetKind kind) {
  return kind == SheetKind::pdf || kind == SheetKind::svg || kind == SheetKind::png;
}

}  // namespace

ExportDialog::~ExportDialog() {
  if (texture_ != nullptr) textures_->drop(texture_);
}

void ExportDialog::show(const std::filesystem::path& take_path) {
  is_open_ = true;
  is_fresh_ = true;
  if (take_path_ != take_path) choice_ = {};
  take_path_ = take_path;
  target_text_ = usual_target(take_path, choice_).string();
}

void ExportDialog::kinds() {
  const ExportChoice before = choice_;
  bool is_left = true;
  for (const KindInfo& info : kind_infos) {
    if (!is_left) ImGui::SameLine(ImGui::GetContentRegionAvail().x * 0.5F);
    is_left = !is_left;
    if (ImGui::RadioButton(info.name, choice_.kind == info.kind)) choice_.kind = info.kind;
    if (choice_.kind == info.kind) ImGui::SetItemDefaultFocus();
    if (ImGui::IsItemHovered()) ImGui::SetTooltip("%s", info.tip);
  }
  if (choice_.kind != before.kind) {
    if (!holds_all_levels(choice_.kind)) choice_.has_all_levels = false;
    target_text_ = usual_target(take_path_, choice_).string();
    page_ = 0;
  }
}

void ExportDialog::part(const take::Take& take, const DeskState& state) {
  const auto level_text = [](std::optional<int> level) {
    if (!level) return std::string("the line");
    const auto known = parts::level_from_number(*level);
    return fmt::format("level {}: {}", *level, known ? parts::level_name(*known) : "");
  };
  const char* const all_levels = "all levels, one after another";
  wide();
  if (ImGui::BeginCombo("##level",
                        choice_.has_all_levels ? all_levels : level_text(choice_.level).c_str())) {
    const auto offer = [this](const std::string& text, std::optional<int> level, bool is_all) {
      const bool is_chosen = choice_.level == level && choice_.has_all_levels == is_all;
      if (!ImGui::Selectable(text.c_str(), is_chosen) || is_chosen) return;
      choice_.level = level;
      choice_.has_all_levels = is_all;
      target_text_ = usual_target(take_path_, choice_).string();
    };
    for (int number = 0; number <= static_cast<int>(parts::all_levels.size()); ++number) {
      const std::optional<int> level = number == 0 ? std::nullopt : std::optional(number);
      offer(level_text(level), level, false);
    }
    if (holds_all_levels(choice_.kind)) offer(all_levels, std::nullopt, true);
    ImGui::EndCombo();
  }
  PartChoice& part = choice_.part;
  const auto name_of = [](const PartChoice& one) -> std::string {
    switch (one.kind) {
      case PartChoice::Kind::whole:
        return "all bars";
      case PartChoice::Kind::marked:
        return "the marked stretch";
      case PartChoice::Kind::passage:
        return "passage " + one.passage;
      case PartChoice::Kind::bars:
        return "bars from, to";
    }
    return "";
  };
  wide();
  if (ImGui::BeginCombo("##part", name_of(part).c_str())) {
    const auto offer = [&](PartChoice::Kind kind, const std::string& passage = {}) {
      PartChoice one = part;
      one.kind = kind;
      one.passage = passage;
      if (ImGui::Selectable(name_of(one).c_str(), part == one)) part = one;
    };
    offer(PartChoice::Kind::whole);
    if (state.range) offer(PartChoice::Kind::marked);
    for (const take::Passage& passage : take.passages) {
      offer(PartChoice::Kind::passage, passage.name);
    }
    offer(PartChoice::Kind::bars);
    ImGui::EndCombo();
  }
  if (part.kind == PartChoice::Kind::bars) {
    int bars[2] = {part.first_bar, part.last_bar};
    wide();
    if (ImGui::InputInt2("##bars", bars)) {
      part.first_bar = bars[0];
      part.last_bar = bars[1];
    }
  }
}

void ExportDialog::practice_options(bool has_recording) {
  PracticeChoice& practice = choice_.practice;
  bool has_ramp = practice.last_speed_ratio.has_value();
  percent_slider("##speed", practice.speed_ratio, has_ramp ? "from %.0f %%" : "speed %.0f %%");
  if (has_ramp) percent_slider("##last", *practice.last_speed_ratio, "up to %.0f %%");
  if (ImGui::Checkbox("faster by 5 % from time to time", &has_ramp)) {
    practice.last_speed_ratio = has_ramp ? std::optional(1.0) : std::nullopt;
  }
  wide();
  ImGui::SliderInt("##repeat", &practice.repeat_count, 1, 20,
                   has_ramp ? "each speed %d times" : "%d times");
  wide();
  ImGui::SliderInt("##countin", &practice.count_in_bars, 0, 4, "bars of count-in: %d");
  int click = static_cast<int>(practice.click);
  wide();
  if (ImGui::Combo("##click", &click,
                   "no click\0click on every beat\0click on 2 and 4\0click on 1\0")) {
    practice.click = static_cast<audio::ClickPattern>(click);
  }
  float semitones = static_cast<float>(practice.shift_semitones);
  wide();
  if (ImGui::SliderFloat("##shift", &semitones, -12.0F, 12.0F,
                         semitones == 0.0F ? "own pitch" : "%+.0f semitones")) {
    practice.shift_semitones = std::round(semitones);
  }
  const bool can_hear_recording = has_recording && !choice_.level;
  ImGui::BeginDisabled(!can_hear_recording);
  ImGui::Checkbox("the recording", &practice.has_recording);
  ImGui::BeginDisabled(!practice.has_recording);
  int use = static_cast<int>(practice.low_voice.use);
  wide();
  if (ImGui::Combo("##low", &use,
                   "low voice as it is\0low voice brought forward\0low voice alone\0"
                   "low voice taken out\0")) {
    practice.low_voice.use = static_cast<audio::LowVoiceUse>(use);
  }
  ImGui::Checkbox("low voice an octave up", &practice.low_voice.octave_up);
  ImGui::EndDisabled();
  ImGui::EndDisabled();
  ImGui::Checkbox("the line as written", &practice.has_line);
  ImGui::Checkbox("the chords", &practice.has_chords);
}

void ExportDialog::options(const take::Take& take, bool has_recording) {
  const bool has_bars = is_page(choice_.kind) || choice_.kind == SheetKind::text ||
                        (choice_.kind == SheetKind::musicxml && (choice_.level || !take.recording));
  if (is_page(choice_.kind)) {
    int paper = static_cast<int>(choice_.paper);
    wide();
    if (ImGui::Combo("##paper", &paper, "A4\0letter\0")) {
      choice_.paper = static_cast<sheet::PaperSize>(paper);
    }
    ImGui::Checkbox("tab alone, with the rhythm under it", &choice_.is_tab_only);
  }
  if (has_bars) ImGui::Checkbox("repeats written out", &choice_.is_written_out);
  if (choice_.kind == SheetKind::text) {
    ImGui::Checkbox("roles under the notes", &choice_.has_roles);
    wide();
    ImGui::SliderInt("##width", &choice_.width_columns, 40, 160, "%d columns");
  }
  if (choice_.kind == SheetKind::midi) {
    ImGui::Checkbox("notes where the sheet writes them", &choice_.is_quantised);
    ImGui::Checkbox("one steady tempo", &choice_.is_steady);
  }
  if (choice_.kind == SheetKind::practice) practice_options(has_recording);
}

void ExportDialog::target() {
  ImGui::TextDisabled("Write to");
  if (choice_.kind == SheetKind::practice) {
    for (const char* ending : {".ogg", ".mp3", ".flac", ".wav"}) {
      ImGui::SameLine();
      if (ImGui::SmallButton(ending)) {
        target_text_ = std::filesystem::path(target_text_).replace_extension(ending).string();
      }
    }
  }
  wide();
  ImGui::InputText("##target", &target_text_);
}

take::Take ExportDialog::titled(const take::Take& take) const {
  take::Take named = take;
  // A page needs a name: without a title it has the file's.
  if (named.title.empty()) named.title = take::to_plain_text(take_path_.stem().string());
  return named;
}

void ExportDialog::follow_preview(const Session& session, const DeskState& state, float width_px) {
  if (is_ready(previewing_)) {
    preview_ = previewing_.get();
    if (texture_ != nullptr) textures_->drop(texture_);
    texture_ = nullptr;
    if (textures_ != nullptr && preview_.page) texture_ = textures_->put(*preview_.page);
    page_ = preview_.page_index;
    key_.page = page_;
  }
  const double wanted = static_cast<double>(width_px) / a4_width_points * points_an_inch;
  Key key{session.revision(), choice_, state.range, page_,
          static_cast<int>(std::ceil(wanted / dots_step)) * dots_step};
  key.choice.target.clear();
  // Fonts and shapes are drawn by one thread at a time.
  if (key == key_ || previewing_.valid() || writing_.valid()) return;
  key_ = key;
  previewing_ = std::async(std::launch::async, [take = titled(session.take()), key] {
    return preview_of(take, key.choice, key.marked, key.page,
                      static_cast<double>(key.dots_per_inch));
  });
}

void ExportDialog::show_preview(const Fonts& fonts) {
  if (preview_.page_count > 1) {
    ImGui::BeginDisabled(page_ == 0);
    if (ImGui::Button("<")) --page_;
    ImGui::EndDisabled();
    ImGui::SameLine();
    ImGui::AlignTextToFramePadding();
    ImGui::Text("%s",
                fmt::format("page {} of {}", preview_.page_index + 1, preview_.page_count).c_str());
    ImGui::SameLine();
    ImGui::BeginDisabled(page_ + 1 >= preview_.page_count);
    if (ImGui::Button(">")) ++page_;
    ImGui::EndDisabled();
  }
  ImGui::BeginChild("page", {0.0F, 0.0F}, true, ImGuiWindowFlags_HorizontalScrollbar);
  if (texture_ != nullptr && preview_.page) {
    const float width = ImGui::GetContentRegionAvail().x;
    const float height = width * static_cast<float>(preview_.page->height) /
                         static_cast<float>(preview_.page->width);
    ImGui::Image(texture_, {width, height});
  } else if (!preview_.text.empty()) {
    ImGui::PushFont(fonts.mono);
    ImGui::TextUnformatted(preview_.text.data(), preview_.text.data() + preview_.text.size());
    ImGui::PopFont();
  } else {
    ImGui::TextDisabled("%s", previewing_.valid() ? "drawing …" : "");
  }
  ImGui::EndChild();
}

void ExportDialog::write(const Session& session, const DeskState& state) {
  choice_.target = target_text_;
  progress_ = std::make_unique<Progress>();
  writing_ = std::async(std::launch::async,
                        [take = titled(session.take()), choice = choice_, marked = state.range,
                         recording = session.recording(), control = progress_->control()] {
                          return write_sheet(take, choice, marked, recording, control);
                        });
}

std::optional<std::string> ExportDialog::draw(const Session& session, const DeskState& state,
                                              const Fonts& fonts, float scale) {
  std::optional<std::string> said;
  if (is_ready(writing_)) {
    const auto done = writing_.get();
    said = !done ? done.error().message
                 : fmt::format("Written: {}{}", done->front().string(),
                               done->size() > 1 ? fmt::format(" and {} more", done->size() - 1)
                                                : std::string());
    if (done) is_open_ = false;
  }
  if (wants_to_write_ && !previewing_.valid()) {
    wants_to_write_ = false;
    write(session, state);
  }
  if (!is_open_) return said;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowSize({screen.x * 0.92F, screen.y * 0.94F}, ImGuiCond_Always);
  ImGui::SetNextWindowPos({screen.x / 2, screen.y / 2}, ImGuiCond_Always, {0.5F, 0.5F});
  if (is_fresh_) ImGui::SetNextWindowFocus();
  is_fresh_ = false;
  if (ImGui::Begin("Sheets and practice audio", &is_open_,
                   ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoMove |
                       ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoSavedSettings)) {
    ImGui::BeginChild("choice", {290.0F * scale, 0.0F}, false, keyboard_passes);
    kinds();
    ImGui::Separator();
    part(session.take(), state);
    options(session.take(), !session.recording().empty());
    ImGui::Separator();
    target();
    if (writing_.valid()) {
      ImGui::ProgressBar(static_cast<float>(progress_->share()), {-1.0F, 0.0F},
                         progress_->stage().c_str());
      if (ImGui::Button("Stop")) progress_->cancel();
    } else {
      if (ImGui::Button("Write", {-1.0F, 0.0F})) wants_to_write_ = true;
    }
    ImGui::EndChild();
    ImGui::SameLine();
    ImGui::BeginChild("beforehand", {0.0F, 0.0F}, false, keyboard_passes);
    follow_preview(session, state, ImGui::GetContentRegionAvail().x);
    show_preview(fonts);
    ImGui::EndChild();
  }
  ImGui::End();
  return said;
}

}  // namespace lowstride::desk
