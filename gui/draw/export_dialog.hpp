#pragma once

#include <cstdint>
#include <filesystem>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/brush.hpp"
#include "gui/draw/textures.hpp"
#include "gui/model/export_job.hpp"
#include "gui/model/session.hpp"

namespace lowstride::desk {

/// The window in which sheets and practice audio are chosen, seen beforehand and written. Pages
/// and texts are made in the background; no frame waits for them.
class ExportDialog {
 public:
  /// `textures` may be null: pages are then not shown beforehand. It must outlive the dialog.
  explicit ExportDialog(Textures* textures) : textures_(textures) {}
  ExportDialog(const ExportDialog&) = delete;
  ExportDialog& operator=(const ExportDialog&) = delete;
  ~ExportDialog();

  void show(const std::filesystem::path& take_path);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  void close() noexcept { is_open_ = false; }
  /// Something is written or drawn in the background.
  [[nodiscard]] bool is_busy() const noexcept { return writing_.valid() || previewing_.valid(); }
  [[nodiscard]] ExportChoice& choice() noexcept { return choice_; }
  [[nodiscard]] const ExportPreview& preview() const noexcept { return preview_; }

  /// Draws it; gives a sentence when something was written or failed.
  std::optional<std::string> draw(const Session& session, const DeskState& state,
                                  const Fonts& fonts, float scale);

 private:
  /// What a preview was made of.
  struct Key {
    std::uint64_t revision = 0;
    ExportChoice choice;
    std::optional<take::Stretch> marked;
    std::size_t page = 0;
    int dots_per_inch = 0;

    bool operator==(const Key&) const = default;
  };

  void kinds();
  void part(const take::Take& take, const DeskState& state);
  void options(const take::Take& take, bool has_recording);
  void practice_options(bool has_recording);
  void target();
  void follow_preview(const Session& session, const DeskState& state, float width_px);
  void show_preview(const Fonts& fonts);
  void write(const Session& session, const DeskState& state);
  [[nodiscard]] take::Take titled(const take::Take& take) const;

  Textures* textures_;
  bool is_open_ = false;
  bool is_fresh_ = false;
  ExportChoice choice_;
  std::filesystem::path take_path_;
  std::string target_text_;
  std::size_t page_ = 0;  // that is looked at

  Key key_;  // of what is shown, or being made
  ExportPreview preview_;
  ImTextureID texture_ = nullptr;
  std::future<ExportPreview> previewing_;

  std::unique_ptr<Progress> progress_;
  bool wants_to_write_ = false;  // as soon as no preview is being made
  std::future<Result<std::vector<std::filesystem::path>>> writing_;
};

}  // namespace lowstride::desk
