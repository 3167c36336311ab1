#pragma once

#include <filesystem>
#include <functional>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/brush.hpp"
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

  /// `make_sound` may be empty: it is then said what would be heard.
  void show(const take::Take& take, const std::filesystem::path& path, MakeSound make_sound);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  /// Ends the session; what was answered is kept.
  void close();
  /// Something sounds or is being opened.
  [[nodiscard]] bool is_busy() const;

  /// A key that went down while the window is open.
  void key(const KeyChord& chord);
  void draw(const Brush& brush, bool is_mirrored);

  // For tests.
  [[nodiscard]] Drilling* drilling() noexcept { return drilling_.get(); }
  [[nodiscard]] DrillChoice& choice() noexcept { return choice_; }
  void begin();
  void show_progress();
  [[nodiscard]] const std::string& trouble() const noexcept { return trouble_; }

 private:
  void take_in();
  void set_up();
  void questions(const Brush& brush);
  void answers(const Brush& brush);
  void tab(const Brush& brush);
  void neck(const Brush& brush, bool is_mirrored);
  void progress_part();
  void fresh_board();

  Textures* textures_;
  bool is_open_ = false;
  bool is_fresh_ = false;
  bool wants_focus_ = false;  // of the line of text
  take::Take take_;
  std::filesystem::path path_;
  MakeSound make_sound_;
  DrillChoice choice_;
  std::string trouble_;
  std::string typed_;
  std::string digits_;  // of a fret that may have a second one coming
  double digit_seconds_ = 0.0;
  std::unique_ptr<DrillSound> sound_;
  std::unique_ptr<Drilling> drilling_;  // after the sound, which it plays on
  std::future<Result<std::unique_ptr<Drilling>>> opening_;
  std::string shown_key_;  // of the item on the board
  drill::Phase shown_phase_ = drill::Phase::done;
  take::Take board_;  // an empty take with the item's neck, and its notes once they are known
  std::future<Pixels> plotting_;
  ImTextureID plot_ = nullptr;
  Pixels plot_size_;  // without its bytes
};

}  // namespace lowstride::desk
