#include "src/base/disk.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstdio>
#include <string>
#include <system_error>

namespace lowstride {
namespace {

Disk& real_disk() noexcept {
  static Disk real;
  return real;
}

std::atomic<Disk*>& disk_in_use() noexcept {
  static std::atomic<Disk*> in_use{&real_disk()};
  return in_use;
}

const char* cure_of(int error_number) {
  switch (error_number) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
      return "free some space";
    case EACCES:
    case EROFS:
    case EPERM:
      return "choose a folder that you may write to";
    case ENOENT:
    case ENOTDIR:
      return "create its folder first";
    case ENAMETOOLONG:
      return "choose a shorter name";
    case EIO:
      return "check the disk it is on, or choose another place";
    default:
      return "choose another place";
  }
}

/// `write_some(bytes, count, done)` until all is written.
template <typename Write>
int write_all(const void* bytes, std::size_t count, Write write_some) {
  const char* from = static_cast<const char*>(bytes);
  for (std::size_t done = 0; done < count;) {
    const ssize_t written = write_some(from + done, count - done, done);
    if (written > 0) {
      done += static_cast<std::size_t>(written);
    } else if (written == 0) {
      return ENOSPC;
    } else if (errno != EINTR) {
      return errno;
    }
  }
  return 0;
}

}  // namespace

int Disk::open(const char* path, int flags, mode_t mode) {
  return ::open(path, flags | O_CLOEXEC, mode);
}
int Disk::close(int file) { return ::close(file); }
ssize_t Disk::write(int file, const void* bytes, std::size_t count) {
  return ::write(file, bytes, count);
}
ssize_t Disk::write_at(int file, const void* bytes, std::size_t count, off_t offset) {
  return ::pwrite(file, bytes, count, offset);
}
int Disk::truncate(int file, off_t size) { return ::ftruncate(file, size); }
int Disk::sync(int file) { return ::fsync(file); }
int Disk::rename(const char* from, const char* to) { return ::rename(from, to); }
int Disk::exchange(const char* a, const char* b) {
  return ::renameat2(AT_FDCWD, a, AT_FDCWD, b, RENAME_EXCHANGE);
}
int Disk::link(const char* from, const char* to) {
  return ::linkat(AT_FDCWD, from, AT_FDCWD, to, AT_SYMLINK_FOLLOW);
}
int Disk::unlink(const char* path) { return ::unlink(path); }

Disk& disk() noexcept { return *disk_in_use().load(std::memory_order_acquire); }

DiskInPlace::DiskInPlace(Disk& other) noexcept {
  disk_in_use().store(&other, std::memory_order_release);
}
DiskInPlace::~DiskInPlace() { disk_in_use().store(&real_disk(), std::memory_order_release); }

int write_whole(int file, const void* bytes, std::size_t count) {
  return write_all(bytes, count, [&](const char* from, std::size_t left, std::size_t) {
    return disk().write(file, from, left);
  });
}

int write_whole_at(int file, const void* bytes, std::size_t count, off_t offset) {
  return write_all(bytes, count, [&](const char* from, std::size_t left, std::size_t done) {
    return disk().write_at(file, from, left, offset + static_cast<off_t>(done));
  });
}

std::filesystem::path folder_of(const std::filesystem::path& path) {
  return path.has_parent_path() ? path.parent_path() : std::filesystem::path(".");
}

void sync_folder(const std::filesystem::path& folder) noexcept {
  const int file = disk().open(folder.c_str(), O_RDONLY | O_DIRECTORY, 0);
  if (file < 0) return;
  disk().sync(file);
  disk().close(file);
}

Error write_error(const std::filesystem::path& path, int error_number) {
  return {ErrorCode::cannot_write, "Cannot write '" + path.string() +
                                       "': " + std::generic_category().message(error_number) +
                                       "; " + cure_of(error_number) + "."};
}

}  // namespace lowstride
