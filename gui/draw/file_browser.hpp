#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace lowstride::desk {

/// What a folder holds that the desk can open: folders first, then takes and recordings, by name.
struct FolderEntry {
  std::filesystem::path path;
  bool is_folder = false;
  bool is_take = false;

  bool operator==(const FolderEntry&) const = default;
};
/// Hidden entries are left out; of the files those with an ending of a take or of sound. A folder
/// that cannot be read is empty.
[[nodiscard]] std::vector<FolderEntry> folder_entries(const std::filesystem::path& folder);
/// Those whose names hold every word of the filter, in any order and case.
[[nodiscard]] std::vector<FolderEntry> filtered(const std::vector<FolderEntry>& entries,
                                                const std::string& filter);

/// A window inside the window for choosing a file: recent ones, folders, a filter by name.
class FileBrowser {
 public:
  enum class Wanted : std::uint8_t { sound_or_take, sound };
  void show(const std::filesystem::path& folder, Wanted wanted = Wanted::sound_or_take);
  [[nodiscard]] bool is_open() const noexcept { return is_open_; }
  void close() noexcept { is_open_ = false; }

  /// Draws it; gives the file that was chosen.
  std::optional<std::filesystem::path> draw(const std::vector<std::filesystem::path>& recent,
                                            float scale);

 private:
  void go(const std::filesystem::path& folder);

  Wanted wanted_ = Wanted::sound_or_take;
  bool is_open_ = false;
  bool is_fresh_ = false;
  std::filesystem::path folder_;
  std::vector<FolderEntry> entries_;
  std::string filter_;
  std::string typed_folder_;
};

}  // namespace lowstride::desk
