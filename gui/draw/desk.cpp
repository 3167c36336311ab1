#include "gui/draw/desk.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "gui/draw/focus.hpp"
#include "gui/gesture/note_edits.hpp"
#include "src/sheet/grid.hpp"
#include "src/take/harmony.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {
namespace {

constexpr double second_digit_seconds = 0.7;
constexpr double tap_pause_seconds = 2.5;
constexpr double status_shown_seconds = 12.0;
constexpr float side_width = 312.0F;

}  // namespace

Desk::Desk(DeskOptions options) : options_(std::move(options)) {
  if (options_.settings_path) {
    LoadedSettings loaded = load_settings(*options_.settings_path);
    settings_ = std::move(loaded.settings);
    for (std::string& remark : loaded.remarks) notices_.push_back(std::move(remark));
  }
  kept_settings_ = settings_;
  state_.lanes = settings_.lanes;
  state_.doubt_threshold = settings_.doubt_threshold;
}

Desk::~Desk() {
  settings_.lanes = state_.lanes;
  if (options_.settings_path && settings_ != kept_settings_) {
    // Nobody is there any more to be told.
    const auto kept = save_settings(settings_, *options_.settings_path);
    static_cast<void>(kept);
  }
  if (session_.has_take()) {
    save_last_view(session_.path(),
                   {state_.axis.begin_samples, state_.axis.samples_per_px, state_.cursor_samples});
  }
}

const Theme& Desk::theme() const noexcept {
  return settings_.is_dark ? dark_theme() : light_theme();
}

std::string Desk::window_title() const {
  if (!session_.has_take()) return "Lowstride";
  return fmt::format("{}{} – Lowstride", session_.has_unsaved_edits() ? "* " : "",
                     session_.path().filename().string());
}

bool Desk::is_busy() {
  const bool has_young_levels =
      session_.levels() != nullptr && session_.levels()->levels().share_done() < 1.0;
  return state_.playing_samples.has_value() || session_.work().has_value() || has_young_levels ||
         export_.is_busy() || drill_.is_busy() || versions_.is_busy() ||
         std::holds_alternative<FretDraft>(state_.draft) || session_.is_following() ||
         session_.is_saving() || hearing_coming_.valid();
}

void Desk::open(const std::filesystem::path& path) {
  if (session_.has_take()) {
    save_last_view(session_.path(),
                   {state_.axis.begin_samples, state_.axis.samples_per_px, state_.cursor_samples});
  }
  drill_.close();
  if (hearing_) hearing_->stop();
  state_.playing_samples.reset();
  asked_path_ = path;
  session_.open(path);
}

void Desk::take_in_background() {
  session_.poll();
  take_in_ears();
  if (const auto saved = session_.saved()) {
    if (!saved->outcome) {
      notices_.push_back(saved->outcome.error().message);
    } else {
      say(fmt::format("{}: {}", saved->path == session_.path() ? "Saved" : "Copy",
                      saved->path.string()));
    }
  }
  const bool is_another = session_.has_take() && seen_opened_ != session_.opened_count();
  // What was said of the take before is of no use with this one.
  if (is_another) notices_.clear();
  for (std::string& message : session_.take_messages()) {
    // The recovery notice says this, and what can be done about it.
    if (session_.recovered_count() > 0 && message.find(" taken up from ") != std::string::npos) {
      recovery_text_ = std::move(message);
      continue;
    }
    // What is short goes by; what a player must not miss stays until it is read.
    const bool is_news = message.find("are proposed") != std::string::npos ||
                         message.find("was stopped") != std::string::npos;
    if (is_news) {
      say(std::move(message));
    } else {
      notices_.push_back(std::move(message));
    }
  }
  if (session_.revision() == seen_revision_) return;
  seen_revision_ = session_.revision();
  keep_selection_valid(state_, session_.take());
  if (is_another) took_another();
  if (!session_.has_take()) drop_ears();
  if (!session_.has_take() && session_.take().length_samples > 0) {
    // The waveform of what is being opened.
    state_.axis = showing(state_.axis, 0.0, static_cast<double>(session_.take().length_samples),
                          session_.take().length_samples);
  }
  // The first notes of a new take come some time after it was opened.
  const bool has_notes = !session_.take().notes.empty();
  if (has_notes && !had_notes_ && state_.cursor_samples == 0.0) is_new_view_ = true;
  had_notes_ = has_notes;
  if (hearing_) hearing_->set_take(session_.take());
  is_take_text_fresh_ = false;
}

void Desk::took_another() {
  seen_opened_ = session_.opened_count();
  // Not a version of the take that is open, nor a file that was asked for in vain before that.
  if (!asked_path_.empty() && detail::take_path_of(asked_path_) == session_.path()) {
    remember(settings_, asked_path_);
    state_.clear_selection();
    state_.range.reset();
    state_.cursor_samples = 0.0;
  }
  asked_path_.clear();
  is_new_view_ = true;
  is_recovery_open_ = session_.recovered_count() > 0;
  hear_ = {};
  state_.is_loop_on = false;
  open_ears();
}

void Desk::drop_ears() {
  hearing_.reset();
  if (hearing_coming_.valid()) stale_hearing_.push_back(std::move(hearing_coming_));
}

void Desk::open_ears() {
  drop_ears();
  if (!options_.make_hearing) return;
  // A film's sound is decoded first: that may take seconds.
  hearing_coming_ = std::async(
      std::launch::async,
      [make = options_.make_hearing, recording = session_.recording(), take = session_.take(),
       device = settings_.audio_device] { return make(recording, take, device); });
}

void Desk::take_in_ears() {
  const auto is_ready = [](const auto& future) {
    return future.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
  };
  std::erase_if(stale_hearing_, is_ready);
  if (is_drilling_ && !drill_.is_open()) {
    is_drilling_ = false;
    if (session_.has_take()) open_ears();
  }
  if (!hearing_coming_.valid() || !is_ready(hearing_coming_)) return;
  hearing_ = hearing_coming_.get();
  if (!hearing_) return;
  hearing_->set(hear_);
  hearing_->set_take(session_.take());
  if (std::string notice = hearing_->notice(); !notice.empty()) say(std::move(notice));
}

bool Desk::type_fret(const KeyChord& chord) {
  const bool is_digit =
      chord.key >= '0' && chord.key <= '9' && !chord.is_control && !chord.is_alt && !chord.is_shift;
  auto* draft = std::get_if<FretDraft>(&state_.draft);
  if (!is_digit) {
    if (draft != nullptr) finish_fret();
    return false;
  }
  const auto index = note_at_hand();
  if (!index || state_.notes.size() != 1) return false;
  const take::NoteId id = session_.take().notes[*index].id;
  if (draft != nullptr && draft->id == id) {
    draft->digits += static_cast<char>(chord.key);
    finish_fret();
    return true;
  }
  if (draft != nullptr) finish_fret();
  state_.draft = FretDraft{id, std::string(1, static_cast<char>(chord.key)), clock_seconds_};
  // No neck has a fret 30: the number is whole.
  if (chord.key >= '3') finish_fret();
  return true;
}

void Desk::finish_fret() {
  const auto* draft = std::get_if<FretDraft>(&state_.draft);
  if (draft == nullptr) return;
  const FretDraft typed = *draft;
  state_.draft = std::monostate{};
  const auto index = index_of(session_.take(), typed.id);
  if (!index) return;
  const take::Note& note = session_.take().notes[*index];
  const int string =
      note.position ? note.position->string_number : session_.take().neck.string_count();
  apply(set_fret(session_.take(), typed.id, string, std::stoi(typed.digits)));
}

/// One that takes the keys: the desk behind it does not act on them.
bool Desk::is_dialog_open() const {
  return browser_.is_open() || export_.is_open() || drill_.is_open() || versions_.is_open() ||
         is_help_open_;
}

void Desk::drain_keys() {
  const std::vector<KeyChord> keys = std::exchange(keys_, {});
  const bool is_typing = ImGui::GetIO().WantTextInput;
  for (const KeyChord& chord : keys) {
    if (key_wanted_) {
      if (chord.key != keys::escape) settings_.keys.set(*key_wanted_, chord);
      key_wanted_.reset();
      continue;
    }
    const bool is_command = chord.is_control || (chord.key >= keys::f1 && chord.key < 320);
    if (is_typing && !is_command && chord.key != keys::escape) continue;
    // A list that folds down closes by itself, and the dialog that it belongs to stays.
    if (chord.key == keys::escape && is_dialog_open() && was_popup_open_) continue;
    if (is_dialog_open() && !is_command && chord.key != keys::escape) {
      if (is_typing) continue;
      if (drill_.is_asking()) {
        drill_.key(chord);
      } else if (chord.key == keys::enter && !press_focused_part()) {
        drill_.begin();
      }
      continue;
    }
    if (!is_typing && type_fret(chord)) continue;
    const auto action = settings_.keys.action_of(chord);
    if (!action) continue;
    // In a text field these belong to the text.
    const bool is_text_key =
        is_typing &&
        (chord.key == 'A' || chord.key == 'C' || chord.key == 'V' || chord.key == 'X' ||
         chord.key == 'Z' || chord.key >= keys::backspace) &&
        chord.key < keys::f1;
    if (is_text_key) continue;
    run(*action);
  }
  if (const auto* draft = std::get_if<FretDraft>(&state_.draft);
      draft != nullptr && clock_seconds_ - draft->typed_seconds > second_digit_seconds) {
    finish_fret();
  }
  if (!taps_.empty() && clock_seconds_ - last_tap_seconds_ > tap_pause_seconds) finish_taps();
}

void Desk::top_bar() {
  const take::Take& take = session_.take();
  const Theme& t = theme();
  ImGui::PushFont(fonts_->number);
  const std::string name = !take.title.empty()   ? take.title
                           : session_.has_take() ? session_.path().stem().string()
                                                 : std::string("Lowstride");
  ImGui::AlignTextToFramePadding();
  ImGui::TextUnformatted(name.c_str());
  ImGui::PopFont();
  if (session_.has_take()) {
    std::string facts;
    if (const auto tempo = take::median_tempo_bpm(take)) {
      facts += fmt::format("{:.0f} bpm  ", *tempo);
    }
    facts += fmt::format("{}/4  ", take.beats_per_bar);
    if (const auto key = take::key_of(take))
      facts += fmt::format("key of {}  ", theory::key_text(*key));
    facts += fmt::format("{}{}  ", take.neck.name,
                         take.neck.capo > 0 ? fmt::format(", capo {}", take.neck.capo) : "");
    if (session_.is_read_only()) facts += "shown only";
    ImGui::SameLine(0.0F, 16.0F * scale_);
    ImGui::TextDisabled("%s", facts.c_str());
    const Digest& digest = session_.digest(state_.doubt_threshold);
    ImGui::SameLine(0.0F, 20.0F * scale_);
    // How much of it stands by a person's word.
    const ImVec2 at = ImGui::GetCursorScreenPos();
    const float width = 110.0F * scale_;
    const float height = ImGui::GetFrameHeight();
    const Brush brush{*ImGui::GetWindowDrawList(), t, *fonts_, scale_};
    const Rect bar{at.x, at.y + height * 0.32F, at.x + width, at.y + height * 0.68F};
    brush.fill(bar, t.field, 1.0, 3.0F * scale_);
    brush.fill(
        {bar.x0, bar.y0, bar.x0 + width * static_cast<float>(digest.confirmed_share), bar.y1},
        t.confirmed, 1.0, 3.0F * scale_);
    ImGui::Dummy({width, height});
    if (ImGui::IsItemHovered()) {
      ImGui::SetTooltip("%.0f %% of notes and chords confirmed", digest.confirmed_share * 100.0);
    }
    ImGui::SameLine();
    ImGui::AlignTextToFramePadding();
    ImGui::Text("%s", fmt::format("{:.0f} % confirmed, {} in doubt", digest.confirmed_share * 100.0,
                                  digest.doubts.size())
                          .c_str());
  }
  const float right = 416.0F * scale_;
  ImGui::SameLine(std::max(ImGui::GetCursorPosX() + 10.0F, ImGui::GetWindowWidth() - right));
  action_button(Action::undo, "Undo");
  ImGui::SameLine();
  action_button(Action::redo, "Redo");
  ImGui::SameLine();
  action_button(Action::open, "Open");
  ImGui::SameLine();
  action_button(Action::save, session_.has_unsaved_edits() ? "Save *" : "Save");
  ImGui::SameLine();
  action_button(Action::export_sheet, "Sheets");
  ImGui::SameLine();
  action_button(Action::drill, "Drill");
  ImGui::SameLine();
  action_button(Action::help, "Keys");
}

void Desk::status_line() {
  if (const auto work = session_.work()) {
    ImGui::AlignTextToFramePadding();
    ImGui::TextUnformatted(work->stage.c_str());
    ImGui::SameLine();
    ImGui::ProgressBar(static_cast<float>(work->share), {220.0F * scale_, 0.0F});
    ImGui::SameLine();
    if (ImGui::Button("Stop the analysis")) session_.cancel_work();
    return;
  }
  ImGui::AlignTextToFramePadding();
  if (!status_.empty() && clock_seconds_ - status_seconds_ < status_shown_seconds) {
    ImGui::TextUnformatted(status_.c_str());
    return;
  }
  const take::Take& take = session_.take();
  const double now = state_.playing_samples.value_or(state_.cursor_samples);
  std::string place = take::format_time(static_cast<std::int64_t>(now), take);
  if (!take.beats.empty())
    place = take::format_place(static_cast<std::int64_t>(now), take) + "   " + place;
  if (hearing_) {
    if (const std::string notice = hearing_->notice(); !notice.empty()) place += "   " + notice;
  }
  ImGui::TextDisabled("%s", place.c_str());
}

void Desk::welcome() {
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  const Brush brush{*ImGui::GetWindowDrawList(), theme(), *fonts_, scale_};
  const auto centred = [&](float y, const ImFont* font, float px, Colour colour,
                           std::string_view text) {
    const float width = Brush::text_width(font, px, text);
    brush.text(font, px, {(screen.x - width) / 2, y}, colour, text);
  };
  const float middle = screen.y * 0.4F;
  centred(middle, fonts_->number, fonts_->number->FontSize, theme().text,
          "Drop a recording or a take here");
  centred(middle + 34.0F * scale_, fonts_->text, fonts_->text->FontSize, theme().faint_text,
          "a band, a duo, or one guitar playing bass and chords; its low line is taken down");
  const float width = 220.0F * scale_;
  ImGui::SetCursorScreenPos({(screen.x - width) / 2, middle + 66.0F * scale_});
  if (ImGui::Button("Open …", {width, 34.0F * scale_})) run(Action::open);
  float y = middle + 122.0F * scale_;
  for (std::size_t i = 0; i < std::min<std::size_t>(5, settings_.recent.size()); ++i) {
    const std::filesystem::path path = settings_.recent[i];
    ImGui::SetCursorScreenPos({(screen.x - 2.0F * width) / 2, y});
    ImGui::PushID(static_cast<int>(i));
    if (ImGui::Button(path.filename().c_str(), {2.0F * width, 0.0F})) open(path);
    ImGui::PopID();
    y += ImGui::GetFrameHeightWithSpacing();
  }
}

void Desk::frame(const Fonts& fonts, float scale) {
  fonts_ = &fonts;
  scale_ = scale;
  clock_seconds_ += static_cast<double>(ImGui::GetIO().DeltaTime);
  take_in_background();
  follow_sound();
  drain_keys();

  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowPos({0.0F, 0.0F});
  ImGui::SetNextWindowSize(screen);
  ImGui::PushStyleVar(ImGuiStyleVar_WindowRounding, 0.0F);
  ImGui::PushStyleVar(ImGuiStyleVar_WindowBorderSize, 0.0F);
  ImGui::Begin("desk", nullptr,
               ImGuiWindowFlags_NoDecoration | ImGuiWindowFlags_NoMove |
                   ImGuiWindowFlags_NoBringToFrontOnFocus | ImGuiWindowFlags_NoSavedSettings |
                   ImGuiWindowFlags_NoNavInputs | ImGuiWindowFlags_NoScrollWithMouse);
  ImGui::PopStyleVar(2);
  top_bar();
  if (!session_.has_take() && !session_.work()) {
    welcome();
  } else {
    overview_part();
    const ImVec2 at = ImGui::GetCursorScreenPos();
    const float bottom = 2.0F * ImGui::GetFrameHeightWithSpacing() + 12.0F * scale_;
    const float height = std::max(60.0F, ImGui::GetContentRegionAvail().y - bottom);
    const float right = side_width * scale_;
    const float width = ImGui::GetContentRegionAvail().x;
    lanes_rect_ = {at.x, at.y, at.x + width - right - 8.0F * scale_, at.y + height};
    lanes_part();
    ImGui::SetCursorScreenPos({lanes_rect_.x1 + 8.0F * scale_, at.y});
    ImGui::BeginChild("side", {right, height}, false, ImGuiWindowFlags_NoScrollbar);
    neck_part();
    side_panel();
    ImGui::EndChild();
    ImGui::SetCursorScreenPos({at.x, at.y + height + 4.0F * scale_});
    transport_bar();
    status_line();
    view_buttons();
  }
  context_menu();
  ImGui::End();
  dialogs();
  // In a dialog Tab, arrows, Space and Enter go about among its parts; on the desk they are the
  // desk's own, and while a drill asks they are the drill's.
  ImGuiIO& io = ImGui::GetIO();
  if (is_dialog_open() && !drill_.is_asking()) {
    io.ConfigFlags |= ImGuiConfigFlags_NavEnableKeyboard;
  } else {
    io.ConfigFlags &= ~ImGuiConfigFlags_NavEnableKeyboard;
  }
  was_popup_open_ = is_popup_open();
}

}  // namespace lowstride::desk
