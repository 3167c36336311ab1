#pragma once

#include <sys/types.h>

#include <cstddef>
#include <filesystem>

#include "src/base/result.hpp"

namespace lowstride {

/// The calls by which files of a user are changed, one method each, as the POSIX.1-2017 call of its
/// name has them: a negative answer and `errno` on error. This class is the real disk; a test puts
/// one in its place that is full, slow, failing, or loses what was not synced. The drill history is
/// the one file that is not written through it: SQLite has a layer of its own (sqlite3_vfs).
/// Any thread.
class Disk {
 public:
  Disk() = default;
  Disk(const Disk&) = delete;
  Disk& operator=(const Disk&) = delete;
  virtual ~Disk() = default;

  /// O_CLOEXEC is added to `flags`.
  virtual int open(const char* path, int flags, mode_t mode);
  virtual int close(int file);
  virtual ssize_t write(int file, const void* bytes, std::size_t count);
  virtual ssize_t write_at(int file, const void* bytes, std::size_t count, off_t offset);
  virtual int truncate(int file, off_t size);
  virtual int sync(int file);  // of a folder as well: the names in it
  virtual int rename(const char* from, const char* to);
  virtual int exchange(const char* a, const char* b);  // renameat2 with RENAME_EXCHANGE (Linux)
  virtual int link(const char* from, const char* to);  // follows a symbolic link at `from`
  virtual int unlink(const char* path);
};

/// The disk that is written to.
[[nodiscard]] Disk& disk() noexcept;

/// For tests: another disk takes the real one's place as long as this lives. One at a time, made
/// and ended while no other thread writes.
class DiskInPlace {
 public:
  explicit DiskInPlace(Disk& other) noexcept;
  DiskInPlace(const DiskInPlace&) = delete;
  DiskInPlace& operator=(const DiskInPlace&) = delete;
  ~DiskInPlace();
};

/// Writes all of it at the file's own place, whatever the disk takes at a time. 0, or the error
/// number.
[[nodiscard]] int write_whole(int file, const void* bytes, std::size_t count);
/// The same at `offset`.
[[nodiscard]] int write_whole_at(int file, const void* bytes, std::size_t count, off_t offset);

/// The folder that a path lies in; "." for a bare name.
[[nodiscard]] std::filesystem::path folder_of(const std::filesystem::path& path);

/// Asks that the names in a folder be on the medium. Some file systems cannot; there is nothing to
/// be done about it.
void sync_folder(const std::filesystem::path& folder) noexcept;

/// What a person reads when writing `path` failed with `error_number`: cannot_write, with the cure.
[[nodiscard]] Error write_error(const std::filesystem::path& path, int error_number);

}  // namespace lowstride
