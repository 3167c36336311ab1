#pragma once

#include <filesystem>
#include <functional>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/brush.hpp"
#include "gui/draw/drill_tab.hpp"
#include "gui/draw/file_browser.hpp"
#include "gui/draw/neck_view.hpp"
#include "gui/draw/textures.hpp"
#include "gui/model/actions.hpp"
#include "gui/model/drilling.hpp"

namespace lowstride::desk {

/// The window of ear training: what to ask, the questions, a neck and an empty tab to answer on,
/// and how it goes. Everything can be done by keyboard: in the line of text with the terminal's
/// words, in the tab with arrows and digits.
class DrillWindow {
 public:
  using MakeSound = std::function<std::unique_ptr<DrillSound>()>;

  /// `textures` may be null: progress is then not shown as a picture. It must outlive the window.
  explicit DrillWindow(Textures* textures) : textures_(textures) {}
  DrillWindow(const DrillWindow&) = delete;
  DrillWindow& operator=(const DrillWindow&) = delete;
  ~DrillWindow();

  /// `make_sound` may be empty: it is then said what would be heard. `open_input` opens what
  /// answers are played into.
  void show(const take::Take& take, const std::filesystem::path& path, MakeSound make_sound,
            OpenInput open_input);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  /// Ends the session; what was answered is kept.
  void close();
  /// Something sounds or is being opened.
  [[nodiscard]] bool is_busy() const;

  /// A session runs, and keys are its own; else they go about among what can be chosen.
  [[nodiscard]] bool is_asking() const noexcept {
    return is_open_ && drilling_ && drilling_->phase() != drill::Phase::done;
  }
  /// Closes the list of files; false where none is shown.
  bool close_browser();
  /// A key that went down while `is_asking`.
  void key(const KeyChord& chord);
  void draw(const Brush& brush, bool is_mirrored);

  /// Begins a session as it was chosen. Nothing happens while one runs or the window is shut.
  void begin();

  // For tests.
  [[nodiscard]] Drilling* drilling() noexcept { return drilling_.get(); }
  [[nodiscard]] DrillChoice& choice() noexcept { return choice_; }
  void show_progress();
  [[nodiscard]] const std::string& trouble() const noexcept { return trouble_; }

 private:
  struct Opened {
    std::unique_ptr<Drilling> drilling;
    std::unique_ptr<DrillEar> ear;
  };
  [[nodiscard]] static Result<std::unique_ptr<Opened>> open_session(
      const take::Take& take, const std::filesystem::path& path, const DrillChoice& choice,
      const OpenInput& open_input, const drill::Moment& now);

  // drill_setup.cpp
  void set_up();
  void input_part(float width);
  void list_devices();
  void browse();
  void progress_part();
  // drill_window.cpp
  void take_in();
  void questions(const Brush& brush);
  void answers(const Brush& brush);
  void write_at(const TabPlace& place);
  void meter(const Brush& brush);
  void neck(const Brush& brush, bool is_mirrored);
  void fresh_board();

  Textures* textures_;
  bool is_open_ = false;
  bool is_fresh_ = false;
  bool wants_focus_ = false;  // of the line of text
  take::Take take_;
  std::filesystem::path path_;
  MakeSound make_sound_;
  OpenInput open_input_;
  DrillChoice choice_;
  std::string trouble_;
  std::string typed_;
  std::string digits_;  // of a fret that may have a second one coming
  double digit_seconds_ = 0.0;
  FileBrowser browser_;  // for the file of answers
  std::vector<std::string> devices_;
  std::future<std::vector<std::string>> listing_;
  bool has_listed_ = false;
  std::unique_ptr<DrillSound> sound_;
  std::unique_ptr<DrillEar> ear_;       // null: nothing is answered by playing
  std::unique_ptr<Drilling> drilling_;  // after the sound and the ear, which it uses
  std::vector<std::unique_ptr<DrillEar>> stale_ears_;
  std::future<Result<std::unique_ptr<Opened>>> opening_;
  std::string shown_key_;  // of the item on the board
  drill::Phase shown_phase_ = drill::Phase::done;
  take::Take board_;  // an empty take with the item's neck, and its notes once they are known
  std::future<Pixels> plotting_;
  ImTextureID plot_ = nullptr;
  Pixels plot_size_;  // without its bytes
};

}  // namespace lowstride::desk
