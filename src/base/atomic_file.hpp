#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "src/base/result.hpp"

namespace lowstride {

/// Replaces `path` with `contents`, whole or not at all: a new file beside it is written, synced,
/// renamed over it, and the folder synced. Keeps the permissions of a file that was there; follows
/// a symbolic link to the file it names. Errors: cannot_write, naming `path`; the old file is then
/// untouched and no temporary file is left.
[[nodiscard]] Result<void> write_file_atomically(const std::filesystem::path& path,
                                                 std::string_view contents);

/// The whole of a small file. Errors: not_found, unreadable, unsupported (over `limit_bytes`).
[[nodiscard]] Result<std::string> read_small_file(const std::filesystem::path& path,
                                                  std::size_t limit_bytes);

/// A file in the making for a library that wants a path to write to: `working_path()` lies beside
/// `target`, and becomes it in `commit()`. Without `commit()` the destructor removes it.
class PendingFile {
 public:
  /// Errors: cannot_write (no such folder, read-only).
  [[nodiscard]] static Result<PendingFile> create(const std::filesystem::path& target);
  PendingFile(PendingFile&&) noexcept;
  PendingFile& operator=(PendingFile&&) noexcept;
  ~PendingFile();

  [[nodiscard]] const std::filesystem::path& working_path() const noexcept { return working_path_; }
  /// Syncs and renames. Errors: cannot_write.
  [[nodiscard]] Result<void> commit();

 private:
  PendingFile() = default;
  std::filesystem::path target_;
  std::filesystem::path working_path_;  // empty once committed or moved from
};

}  // namespace lowstride
