#pragma once

#include <filesystem>
#include <functional>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/brush.hpp"
#include "gui/draw/drill_window.hpp"
#include "gui/draw/export_dialog.hpp"
#include "gui/draw/file_browser.hpp"
#include "gui/draw/lanes_view.hpp"
#include "gui/draw/textures.hpp"
#include "gui/draw/versions_dialog.hpp"
#include "gui/gesture/note_edits.hpp"
#include "gui/gesture/pointer.hpp"
#include "gui/model/actions.hpp"
#include "gui/model/desk_state.hpp"
#include "gui/model/hearing.hpp"
#include "gui/model/session.hpp"
#include "gui/model/settings.hpp"

namespace lowstride::desk {

struct DeskOptions {
  /// Where settings are kept; nothing keeps none.
  std::optional<std::filesystem::path> settings_path;
  /// Makes the ears for a take; `recording` is empty where it was not found. May be empty: the desk
  /// is then silent.
  std::function<std::unique_ptr<Hearing>(const std::filesystem::path& recording,
                                         const take::Take& take, const std::string& device)>
      make_hearing;
  /// The loudspeaker of drills; may be empty: it is then said what would be heard.
  std::function<std::unique_ptr<DrillSound>(const std::filesystem::path& recording,
                                            const std::string& device)>
      make_drill_sound;
  /// Opens what the answers of drills are played into.
  OpenInput open_input = audio::open_input_device;
  /// For pictures; must outlive the desk. Null: pages are not shown beforehand.
  Textures* textures = nullptr;
};

/// The desk: what the window shows and what its keys and gestures do. Knows ImGui, no window and no
/// GL: it is stepped frame by frame, by the window's loop or by a test.
class Desk {
 public:
  explicit Desk(DeskOptions options);
  ~Desk();

  void open(const std::filesystem::path& path);
  /// A key went down, as the window's callback got it; acted on in the next frame.
  void press(const KeyChord& chord) { keys_.push_back(chord); }

  /// Between ImGui::NewFrame and ImGui::Render.
  void frame(const Fonts& fonts, float scale);

  /// Does what a key would.
  void run(Action action);

  [[nodiscard]] bool wants_to_close() const noexcept { return is_closing_; }
  /// Something moves: draw again soon. Else wait for input.
  [[nodiscard]] bool is_busy();
  /// The ears for the take are being opened.
  [[nodiscard]] bool is_opening_ears() const noexcept { return hearing_coming_.valid(); }
  /// Of text, on top of the screen's own.
  [[nodiscard]] double text_scale() const noexcept { return settings_.text_scale; }
  [[nodiscard]] std::string window_title() const;
  [[nodiscard]] const Theme& theme() const noexcept;

  // For tests.
  [[nodiscard]] Session& session() noexcept { return session_; }
  [[nodiscard]] DeskState& state() noexcept { return state_; }
  [[nodiscard]] Settings& settings() noexcept { return settings_; }
  [[nodiscard]] DrillWindow& drill_window() noexcept { return drill_; }
  [[nodiscard]] ExportDialog& export_dialog() noexcept { return export_; }
  [[nodiscard]] VersionsDialog& versions_dialog() noexcept { return versions_; }
  [[nodiscard]] const LaneLayout& lanes() const noexcept { return lanes_; }
  [[nodiscard]] const std::string& status() const noexcept { return status_; }
  [[nodiscard]] const HearingSettings& hearing_settings() const noexcept { return hear_; }

 private:
  // desk.cpp
  void take_in_background();
  void took_another();
  void open_ears();
  void drop_ears();
  void take_in_ears();
  void drain_keys();
  bool type_fret(const KeyChord& chord);
  [[nodiscard]] bool is_dialog_open() const;
  void finish_fret();
  void top_bar();
  void status_line();
  void welcome();
  // desk_lanes.cpp
  void overview_part();
  void lanes_part();
  void neck_part();
  [[nodiscard]] PointerInput pointer_input(bool is_over) const;
  void act_on(const PointerOutcome& outcome);
  // desk_actions.cpp
  void run_take(Action action);
  void open_drill();
  void run_showing(Action action);
  void apply(const Result<take::Edit>& edit);
  void say(std::string sentence);
  [[nodiscard]] std::optional<std::size_t> note_at_hand() const;
  [[nodiscard]] std::optional<std::size_t> chord_at_hand() const;
  [[nodiscard]] std::optional<take::Stretch> stretch_at_hand() const;
  [[nodiscard]] Selected selected() const;
  // desk_hearing.cpp
  void follow_sound();
  void run_hearing(Action action);
  void hearing_changed();
  void play_from(std::int64_t sample);
  void loop_selection();
  void tap_beat();
  void finish_taps();
  void compare_candidates();
  void set_low_voice(Action action);
  // desk_moving.cpp
  void run_moving(Action action);
  void run_selecting(Action action);
  void go_to(std::int64_t sample);
  void go_to_doubt(int direction);
  void select_doubt(const Doubt& doubt, bool loops_it);
  void step_note(int direction, bool extends);
  void step_bar(int direction);
  // desk_edits.cpp
  void run_notes(Action action);
  void run_chords_and_beats(Action action);
  void run_passages(Action action);
  void colour_passage(std::size_t index, std::size_t colour);
  void begin_remark(std::optional<take::RemarkId> id = {});
  // desk_panels.cpp
  void transport_bar();
  void view_buttons();
  void side_panel();
  void note_panel();
  void chord_part(std::size_t index);
  void doubts_panel();
  void passages_panel();
  void take_panel();
  void history_panel();
  bool action_button(Action action, const char* label, bool is_on = false);
  void tip(Action action) const;
  // desk_dialogs.cpp
  void dialogs();
  void chord_dialog();
  void passage_dialog();
  void remark_dialog();
  void help_page();
  void context_menu();
  void recovery_notice();
  bool menu_item(Action action);

  DeskOptions options_;
  Settings settings_;
  Settings kept_settings_;  // as they are in the file
  Session session_;
  DeskState state_;
  LaneLayout lanes_;
  PointerGestures pointer_;
  std::unique_ptr<Hearing> hearing_;
  std::future<std::unique_ptr<Hearing>> hearing_coming_;
  std::vector<std::future<std::unique_ptr<Hearing>>> stale_hearing_;  // of takes that were left
  HearingSettings hear_;
  double fast_speed_ = 1.0;  // to come back to
  std::vector<KeyChord> keys_;
  std::string status_;
  double status_seconds_ = 0.0;
  double clock_seconds_ = 0.0;
  std::uint64_t seen_revision_ = 0;
  std::uint64_t seen_opened_ = 0;
  std::filesystem::path asked_path_;  // to be opened; empty when it was
  bool is_new_view_ = false;
  bool had_notes_ = false;
  bool is_closing_ = false;
  std::vector<std::string> notices_;  // that stay until they are read
  std::string recovery_text_;         // what was taken up from the journal
  std::vector<std::int64_t> taps_;
  double last_tap_seconds_ = 0.0;
  double ramp_to_ = 0.0;  // speed that the repeats go up to; 0 = no ramp
  double last_place_ = 0.0;
  struct Compared {
    take::NoteId id{};
    bool is_other = false;
  };
  std::optional<Compared> compared_;

  // Drawing: of the current frame.
  const Fonts* fonts_ = nullptr;
  float scale_ = 1.0F;
  Rect overview_rect_, lanes_rect_, side_rect_;

  FileBrowser browser_;
  ExportDialog export_{options_.textures};
  DrillWindow drill_{options_.textures};
  VersionsDialog versions_;
  bool is_drilling_ = false;  // the sound device is lent to the drill
  bool is_help_open_ = false;
  std::optional<Action> key_wanted_;  // the next key pressed becomes this action's
  struct ChordNaming {
    std::optional<take::ChordId> id = {};
    std::int64_t at_samples = 0;
    std::string text = {};
    bool is_new = true;
  };
  std::optional<ChordNaming> naming_;
  struct PassageNaming {
    std::optional<take::PassageId> id = {};
    take::Stretch stretch = {};
    std::string name = {};
    bool is_new = true;
  };
  std::optional<PassageNaming> passage_naming_;
  struct RemarkWriting {
    std::optional<take::RemarkId> id = {};  // of one that is changed
    std::int64_t at_samples = 0;
    std::optional<take::NoteId> note = {};
    std::string text = {};
    bool is_new = true;
  };
  std::optional<RemarkWriting> remark_writing_;
  Hit menu_hit_;
  bool is_menu_wanted_ = false;
  bool was_popup_open_ = false;  // a list that folds down, or a menu, in the frame before
  bool is_recovery_open_ = false;
  std::string title_text_, composer_text_, tuning_text_;
  bool is_take_text_fresh_ = false;
};

}  // namespace lowstride::desk
