#pragma once

#include <filesystem>
#include <future>
#include <optional>
#include <string>
#include <vector>

namespace lowstride::desk {

/// The window of the versions that were kept when the take was saved: when each was saved and what
/// is in it. They are read in the background.
class VersionsDialog {
 public:
  void show(const std::filesystem::path& take_path);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  void close() noexcept { is_open_ = false; }
  /// They are being read.
  [[nodiscard]] bool is_busy() const noexcept { return reading_.valid(); }

  /// Draws it; gives the version that is to change places with the take.
  std::optional<std::filesystem::path> draw(float scale);

 private:
  struct Row {
    std::filesystem::path path;
    std::string text;
  };
  [[nodiscard]] static std::vector<Row> rows_of(const std::filesystem::path& take_path);

  bool is_open_ = false;
  bool is_fresh_ = false;
  std::vector<Row> rows_;
  std::future<std::vector<Row>> reading_;
};

}  // namespace lowstride::desk
