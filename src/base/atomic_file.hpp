#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "src/base/result.hpp"

namespace lowstride {

/// Replaces `path` with `contents`, whole or not at all: a new file beside it is written, synced,
/// renamed over it, and the folder synced. Keeps the permissions and the group of a file that was
/// there; a new file gets those of `like` where that is named and there, else those that the umask
/// leaves. Follows a symbolic link to the file it names. Errors: cannot_write, naming `path`; the
/// old file is then untouched and no working file is left.
[[nodiscard]] Result<void> write_file_atomically(const std::filesystem::path& path,
                                                 std::string_view contents,
                                                 const std::filesystem::path& like = {});

/// The whole of a small file. Errors: not_found, unreadable, unsupported (over `limit_bytes`).
[[nodiscard]] Result<std::string> read_small_file(const std::filesystem::path& path,
                                                  std::size_t limit_bytes);

/// A file in the making. It lies beside `target` under a hidden name with the same ending and
/// becomes the target in `commit()`; without that the destructor removes it. As long as it is in
/// the making it is locked (flock), so that what a killed program left can be told from what
/// another one is writing: `create` removes the former from the folder.
class PendingFile {
 public:
  /// `like`: as for write_file_atomically. Errors: cannot_write (no such folder, read-only).
  [[nodiscard]] static Result<PendingFile> create(const std::filesystem::path& target,
                                                  const std::filesystem::path& like = {});
  PendingFile(PendingFile&& other) noexcept;
  PendingFile& operator=(PendingFile&& other) noexcept;
  ~PendingFile();

  /// Adds to the end. Errors: cannot_write.
  [[nodiscard]] Result<void> write(std::string_view contents);
  /// For a library that writes by itself, through `disk()`: open for reading and writing, owned by
  /// this object.
  [[nodiscard]] int descriptor() const noexcept { return descriptor_; }

  /// Syncs, renames and closes. Errors: cannot_write.
  [[nodiscard]] Result<void> commit();

 private:
  PendingFile() = default;
  std::filesystem::path asked_;  // as named by the caller, for sentences
  std::filesystem::path target_;
  std::filesystem::path working_path_;  // empty once committed or moved from
  int descriptor_ = -1;
};

/// Removes from a folder what killed programs left behind of files in the making. What another
/// program is still writing stays.
void remove_stale_working_files(const std::filesystem::path& folder) noexcept;

}  // namespace lowstride
