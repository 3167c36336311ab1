#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/brush.hpp"
#include "gui/model/hearing.hpp"
#include "gui/model/session.hpp"
#include "src/base/result.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

enum class SheetKind : std::uint8_t { text, musicxml, midi, tables, practice };
inline constexpr std::array all_sheet_kinds{SheetKind::text, SheetKind::musicxml, SheetKind::midi,
                                            SheetKind::tables, SheetKind::practice};

/// What is to be written.
struct ExportChoice {
  SheetKind kind = SheetKind::text;
  std::filesystem::path target;
  bool is_stretch_only = false;  // the marked stretch (text, MusicXML, practice audio)
  bool has_roles = false;
  int width_columns = 100;
  double speed_ratio = 0.5;
  int repeat_count = 1;
  int count_in_bars = 0;
  audio::ClickPattern click = audio::ClickPattern::none;
};

/// Where a sheet of a take goes if nothing else is said: beside the take, by its name.
[[nodiscard]] std::filesystem::path usual_target(const std::filesystem::path& take_path,
                                                 SheetKind kind);

/// Writes it. Errors: those of the sheet, naming the file.
[[nodiscard]] Result<void> write_sheet(const take::Take& take, const ExportChoice& choice,
                                       const std::optional<take::Stretch>& stretch,
                                       const std::filesystem::path& recording,
                                       const WorkControl& control);

/// The window in which sheets and practice audio are chosen, seen beforehand and written.
class ExportDialog {
 public:
  void show(const std::filesystem::path& take_path);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  void close() noexcept { is_open_ = false; }
  [[nodiscard]] bool is_writing() const noexcept { return writing_.valid(); }
  [[nodiscard]] ExportChoice& choice() noexcept { return choice_; }

  /// Draws it; gives a sentence when something was written or failed.
  std::optional<std::string> draw(const Session& session, const DeskState& state,
                                  const Fonts& fonts, float scale);

 private:
  void options(const DeskState& state);
  void preview(const Session& session, const DeskState& state, const Fonts& fonts);
  void write(const Session& session, const DeskState& state);

  bool is_open_ = false;
  bool is_fresh_ = false;
  ExportChoice choice_;
  std::filesystem::path take_path_;
  std::string target_text_;
  std::string preview_;
  std::uint64_t preview_revision_ = 0;
  ExportChoice preview_choice_;
  std::optional<take::Stretch> preview_stretch_;
  std::unique_ptr<Progress> progress_;
  std::future<Result<void>> writing_;
  std::filesystem::path written_;
};

}  // namespace lowstride::desk
