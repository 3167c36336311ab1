#include "gui/draw/drill_window.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

#include <fmt/format.h>
#include <imgui.h>
// Needs imgui.h before it.
#include <imgui_stdlib.h>

#include "gui/draw/drill_tab.hpp"
#include "gui/draw/focus.hpp"
#include "src/drill/answer_text.hpp"
#include "src/neck/named_necks.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::desk {
namespace {

constexpr double second_digit_seconds = 0.7;
constexpr double meter_range_db = 60.0;
constexpr const char* title = "Ear training";

template <typename T>
bool is_ready(const std::future<T>& future) {
  return future.valid() && future.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
}

/// Where a line of text would catch the keys that are wanted elsewhere.
bool is_answered_by_key(const Drilling& drilling) {
  return drilling.is_tab_asked() || (drilling.phase() == drill::Phase::asking &&
                                     drilling.item().kind == drill::Kind::spot_the_change);
}

}  // namespace

DrillWindow::~DrillWindow() {
  if (plot_ != nullptr) textures_->drop(plot_);
}

void DrillWindow::show(const take::Take& take, const std::filesystem::path& path,
                       MakeSound make_sound, OpenInput open_input) {
  is_open_ = true;
  is_fresh_ = true;
  take_ = take;
  path_ = path;
  make_sound_ = std::move(make_sound);
  open_input_ = std::move(open_input);
  trouble_.clear();
  const auto has_passage = [&](const std::string& name) {
    return std::ranges::find(take.passages, name, &take::Passage::name) != take.passages.end();
  };
  if (choice_.passage && !has_passage(*choice_.passage)) choice_.passage.reset();
}

void DrillWindow::close() {
  if (drilling_) drilling_->stop(present_moment());
  drilling_.reset();
  sound_.reset();
  // It may still wait for its last samples: no frame waits for that.
  if (ear_) stale_ears_.push_back(std::move(ear_));
  browser_.close();
  if (plot_ != nullptr) textures_->drop(plot_);
  plot_ = nullptr;
  is_open_ = false;
}

bool DrillWindow::is_busy() const {
  return opening_.valid() || plotting_.valid() || !digits_.empty() ||
         (drilling_ && (drilling_->is_sounding() || drilling_->is_listening()));
}

void DrillWindow::begin() {
  if (!is_open_ || drilling_ || opening_.valid()) return;
  trouble_.clear();
  opening_ = std::async(std::launch::async, [take = take_, path = path_, choice = choice_,
                                             open_input = open_input_, now = present_moment()] {
    return open_session(take, path, choice, open_input, now);
  });
}

Result<std::unique_ptr<DrillWindow::Opened>> DrillWindow::open_session(
    const take::Take& take, const std::filesystem::path& path, const DrillChoice& choice,
    const OpenInput& open_input, const drill::Moment& now) {
  auto opened = std::make_unique<Opened>();
  auto drilling = Drilling::open(take, path, choice, now);
  if (!drilling) return tl::unexpected(drilling.error());
  opened->drilling = std::move(*drilling);
  auto ear = open_ear(choice, open_input);
  if (!ear) return tl::unexpected(ear.error());
  opened->ear = std::move(*ear);
  return opened;
}

void DrillWindow::take_in() {
  std::erase_if(stale_ears_, [](const auto& ear) { return ear->is_idle(); });
  if (is_ready(opening_)) {
    auto opened = opening_.get();
    if (!opened) {
      trouble_ = opened.error().message;
    } else if (is_open_) {
      sound_ = make_sound_ ? make_sound_() : nullptr;
      ear_ = std::move((*opened)->ear);
      drilling_ = std::move((*opened)->drilling);
      drilling_->begin(sound_.get(), ear_.get(), present_moment());
      wants_focus_ = true;
    }
  }
  if (is_ready(plotting_)) {
    const Pixels pixels = plotting_.get();
    if (plot_ != nullptr) textures_->drop(plot_);
    plot_ = textures_ != nullptr && pixels.width > 0 ? textures_->put(pixels) : nullptr;
    plot_size_ = {pixels.width, pixels.height, {}};
  }
  if (!drilling_) return;
  drilling_->poll(present_moment());
  for (const std::string& message : drilling_->take_messages()) trouble_ = message;
  if (!digits_.empty() && ImGui::GetTime() - digit_seconds_ > second_digit_seconds) {
    digits_.clear();
  }
}

bool DrillWindow::close_browser() {
  const bool was_open = browser_.is_open();
  browser_.close();
  return was_open;
}

void DrillWindow::key(const KeyChord& chord) {
  Drilling& drilling = *drilling_;
  const drill::Moment now = present_moment();
  if (chord.key == keys::enter) return drilling.type("", now);
  if (drilling.phase() != drill::Phase::asking) {
    if (chord.key == ' ') drilling.go_on(now);
    return;
  }
  if (chord.key == '?' || (chord.key == '/' && chord.is_shift)) return drilling.hint(now);
  if (chord.key == '!' || (chord.key == '1' && chord.is_shift)) {
    return drilling.answer(drill::GiveUp{}, now);
  }
  if (chord.key == ' ') {
    if (drilling.item().kind == drill::Kind::spot_the_change && drilling.is_sounding()) {
      return drilling.tap();
    }
    return drilling.hear_again(now);
  }
  if (!drilling.is_tab_asked()) return;
  const int last = drilling.slot_count() - 1;
  const auto here = std::ranges::find(drilling.written(), drilling.cursor_slot, &WrittenNote::slot);
  const bool is_written = here != drilling.written().end();
  const int string = is_written ? here->string_number : drilling.item().neck.string_count();
  const auto move = [&](int by) {
    digits_.clear();
    const int to = drilling.cursor_slot + by;
    if (to >= 0 && to <= last) drilling.cursor_slot = to;
  };
  const int strings = drilling.item().neck.string_count();
  if (chord.key == keys::right) return move(chord.is_shift ? 1 : 2);
  if (chord.key == keys::left) return move(chord.is_shift ? -1 : -2);
  if (is_written && (chord.key == keys::up || chord.key == keys::down)) {
    const int to = std::clamp(string + (chord.key == keys::up ? -1 : 1), 1, strings);
    return drilling.put(to, here->fret, now);
  }
  if (chord.key == keys::del || chord.key == keys::backspace) {
    digits_.clear();
    return drilling.rub_out(drilling.cursor_slot);
  }
  if (chord.key >= '0' && chord.key <= '9') {
    digits_ += static_cast<char>(chord.key);
    digit_seconds_ = ImGui::GetTime();
    drilling.put(string, std::stoi(digits_), now);
    // No neck has a fret 30: the number is whole.
    if (digits_.size() > 1 || digits_ >= "3") digits_.clear();
  }
}

void DrillWindow::questions(const Brush& brush) {
  const Drilling& drilling = *drilling_;
  bool is_first = true;
  const float room = ImGui::GetContentRegionAvail().y * (drilling.is_tab_asked() ? 0.34F : 0.46F);
  ImGui::BeginChild("says", {0.0F, room});
  for (const std::string& line : drilling.says()) {
    if (is_first) ImGui::PushFont(brush.fonts.number);
    ImGui::TextWrapped("%s", line.c_str());
    if (is_first) ImGui::PopFont();
    is_first = false;
  }
  if (drilling.is_sounding()) {
    ImGui::TextDisabled("listen …");
    for (const double beat : drilling.taps()) {
      ImGui::SameLine();
      ImGui::TextUnformatted(drill::beat_text(drilling.item(), beat).c_str());
    }
  }
  ImGui::SetScrollHereY(1.0F);
  ImGui::EndChild();
}

void DrillWindow::answers(const Brush& brush) {
  Drilling& drilling = *drilling_;
  const drill::Moment now = present_moment();
  if (drilling.phase() != drill::Phase::asking) {
    if (drilling.phase() != drill::Phase::done && ImGui::Button("Go on  (Enter)")) {
      drilling.go_on(now);
    }
    if (drilling.phase() == drill::Phase::done) {
      if (ImGui::Button("How it goes")) show_progress();
    }
    return;
  }
  const drill::Item& item = drilling.item();
  if (drilling.is_listening()) meter(brush);
  std::optional<drill::Answer> given;
  if (item.kind == drill::Kind::name_the_role) {
    int column = 0;
    for (const theory::Role role : drill::asked_roles()) {
      if (column++ % 4 != 0) ImGui::SameLine();
      if (ImGui::Button(std::string(theory::role_text(role)).c_str())) {
        given = drill::RoleAnswer{role};
      }
    }
  }
  if (item.kind == drill::Kind::which_is_it) {
    for (int index = 0; index < 2; ++index) {
      if (index > 0) ImGui::SameLine();
      if (ImGui::Button(index == 0 ? "  A  " : "  B  ")) given = drill::ChoiceAnswer{index};
    }
  }
  if (item.kind == drill::Kind::spot_the_change) {
    ImGui::TextDisabled("Space while it sounds: the change is now. Or the beat:");
    for (int beat = 0; beat < static_cast<int>(item.beat_count()); ++beat) {
      if (beat % 8 != 0) ImGui::SameLine();
      ImGui::PushID(beat);
      const std::string label = fmt::format("{}:{}", item.first_bar + beat / item.beats_per_bar,
                                            beat % item.beats_per_bar + 1);
      if (ImGui::Button(label.c_str())) given = drill::TapAnswer{{static_cast<double>(beat)}};
      ImGui::PopID();
    }
  }
  if (drilling.is_tab_asked()) {
    if (const auto place = draw_answer_tab(brush, drilling)) write_at(*place);
  }
  if (item.kind == drill::Kind::find_the_note) {
    ImGui::TextDisabled("Click the neck, or type it.");
  }
  if (drilling.is_tab_asked()) {
    if (ImGui::Button("Hand it in  (Enter)")) drilling.hand_in(now);
    ImGui::SameLine();
  }
  if (ImGui::Button("Hear it again")) drilling.hear_again(now);
  ImGui::SameLine();
  if (ImGui::Button("Hint  (?)")) drilling.hint(now);
  ImGui::SameLine();
  if (ImGui::Button("Give up  (!)")) given = drill::GiveUp{};
  if (wants_focus_ && !is_answered_by_key(drilling)) ImGui::SetKeyboardFocusHere();
  wants_focus_ = false;
  ImGui::SetNextItemWidth(-1.0F);
  if (ImGui::InputTextWithHint("##answer", drill::answer_help(item).c_str(), &typed_,
                               ImGuiInputTextFlags_EnterReturnsTrue)) {
    drilling.type(std::exchange(typed_, {}), now);
    wants_focus_ = true;
  }
  if (given && drilling.phase() == drill::Phase::asking) drilling.answer(*given, now);
}

/// A click on the tab: a note there, or another string for the one that is there.
void DrillWindow::write_at(const TabPlace& place) {
  Drilling& drilling = *drilling_;
  drilling.cursor_slot = place.slot;
  const auto here = std::ranges::find(drilling.written(), place.slot, &WrittenNote::slot);
  if (here == drilling.written().end()) {
    drilling.put(place.string_number, 0, present_moment());
  } else if (here->string_number != place.string_number) {
    drilling.put(place.string_number, here->fret, present_moment());
  }
  digits_.clear();
}

/// That it listens, and how loud what comes in is.
void DrillWindow::meter(const Brush& brush) {
  const auto level = static_cast<float>((ear_->level_db() + meter_range_db) / meter_range_db);
  ImGui::AlignTextToFramePadding();
  ImGui::TextUnformatted(drilling_->is_sounding() ? "Play along after the clicks."
                                                  : "Play it now.");
  ImGui::SameLine();
  ImGui::ProgressBar(std::clamp(level, 0.0F, 1.0F), {220.0F * brush.scale, 0.0F}, "");
}

void DrillWindow::fresh_board() {
  const drill::Phase phase = drilling_->phase();
  const bool has_item = phase == drill::Phase::asking || phase == drill::Phase::feedback;
  const std::string key = has_item ? drilling_->item().key : std::string();
  if (key == shown_key_ && phase == shown_phase_) return;
  const bool is_other_item = key != shown_key_;
  shown_key_ = key;
  shown_phase_ = phase;
  if (is_other_item) wants_focus_ = true;
  board_ = {};
  board_.neck = take_.neck;
  if (!has_item) return;
  const drill::Item& item = drilling_->item();
  board_.neck = item.neck;
  board_.octave_shift = item.octave_shift;
  const bool is_one_note =
      item.kind == drill::Kind::find_the_note || item.kind == drill::Kind::name_the_role;
  if (phase != drill::Phase::feedback || !is_one_note) return;
  // What was right, where the take plays it.
  take::Note note;
  note.midi = item.notes[item.asked].midi;
  note.position = item.notes[item.asked].position;
  board_.notes.push_back(note);
}

void DrillWindow::neck(const Brush& brush, bool is_mirrored) {
  const ImVec2 at = ImGui::GetCursorScreenPos();
  const ImVec2 room = ImGui::GetContentRegionAvail();
  const Rect rect{at.x, at.y, at.x + room.x, at.y + std::min(room.y, 520.0F * brush.scale)};
  ImGui::InvisibleButton("board", {std::max(1.0F, rect.width()), std::max(1.0F, rect.height())});
  NeckScene scene{board_, {}, {}, {}, is_mirrored};
  if (!board_.notes.empty()) scene.selected = 0;
  draw_neck(brush, scene, rect);
  if (!ImGui::IsItemClicked()) return;
  const ImVec2 mouse = ImGui::GetIO().MousePos;
  if (const auto place = neck_place_at(scene, rect, brush.scale, {mouse.x, mouse.y})) {
    drilling_->put(place->string_number, place->fret, present_moment());
    if (drilling_->is_tab_asked() && drilling_->cursor_slot + 2 < drilling_->slot_count()) {
      drilling_->cursor_slot += 2;
    }
  }
}

void DrillWindow::draw(const Brush& outer, bool is_mirrored) {
  take_in();
  if (!is_open_) return;
  const ImVec2 screen = ImGui::GetIO().DisplaySize;
  ImGui::SetNextWindowSize({screen.x * 0.92F, screen.y * 0.94F}, ImGuiCond_Always);
  ImGui::SetNextWindowPos({screen.x / 2, screen.y / 2}, ImGuiCond_Always, {0.5F, 0.5F});
  if (is_fresh_) ImGui::SetNextWindowFocus();
  is_fresh_ = false;
  bool stays_open = true;
  if (ImGui::Begin(title, &stays_open,
                   ImGuiWindowFlags_NoCollapse | ImGuiWindowFlags_NoMove |
                       ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoSavedSettings)) {
    if (!drilling_) {
      ImGui::BeginChild("set up", {ImGui::GetContentRegionAvail().x * 0.46F, 0.0F}, false,
                        keyboard_passes);
      set_up();
      ImGui::EndChild();
      ImGui::SameLine();
      progress_part();
    } else {
      fresh_board();
      const float side = 250.0F * outer.scale;
      ImGui::BeginChild("asked", {ImGui::GetContentRegionAvail().x - side, 0.0F}, false,
                        keyboard_passes);
      const Brush brush{*ImGui::GetWindowDrawList(), outer.theme, outer.fonts, outer.scale};
      questions(brush);
      answers(brush);
      if (!trouble_.empty()) ImGui::TextWrapped("%s", trouble_.c_str());
      if (plot_ != nullptr || plotting_.valid()) progress_part();
      ImGui::EndChild();
      ImGui::SameLine();
      ImGui::BeginChild("neck");
      const auto& summary = drilling_->summary();
      ImGui::TextDisabled(
          "%s", fmt::format("{} asked, {} right", summary.item_count, summary.right_count).c_str());
      const Brush side_brush{*ImGui::GetWindowDrawList(), outer.theme, outer.fonts, outer.scale};
      neck(side_brush, is_mirrored);
      ImGui::EndChild();
    }
  }
  ImGui::End();
  if (const auto chosen = browser_.draw({}, outer.scale)) choice_.answers = *chosen;
  if (!stays_open) close();
}

}  // namespace lowstride::desk
