#include "src/base/atomic_file.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <exception>
#include <fstream>
#include <system_error>
#include <utility>
#include <vector>

#include "dsp/base/contracts.hpp"
#include "src/base/disk.hpp"

namespace lowstride {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view working_mark = ".lowstride-";
constexpr std::string_view letters =
    "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
constexpr std::size_t random_letter_count = 6;
constexpr std::size_t longest_name_bytes = 255;  // NAME_MAX of Linux

/// What is renamed over: the file behind a symbolic link, not the link.
fs::path resolved_target(const fs::path& path) {
  std::error_code error;
  if (fs::is_symlink(fs::symlink_status(path, error))) {
    fs::path real = fs::weakly_canonical(path, error);
    if (!error) return real;
  }
  return path;
}

std::string random_letters() {
  std::array<unsigned char, random_letter_count> bytes{};
  // Not a secret: O_EXCL keeps two writers apart, and a name that is taken is drawn anew.
  static_cast<void>(::getrandom(bytes.data(), bytes.size(), 0));
  std::string text;
  for (const unsigned char byte : bytes) text += letters[byte % letters.size()];
  return text;
}

/// The ending is kept, since libraries choose a format by it.
fs::path working_name(const fs::path& target) {
  const std::string ending =
      std::string(working_mark) + random_letters() + target.extension().string();
  std::string stem = "." + target.stem().string();
  if (stem.size() + ending.size() > longest_name_bytes && ending.size() < longest_name_bytes) {
    stem.resize(longest_name_bytes - ending.size());
  }
  return folder_of(target) / (stem + ending);
}

bool is_working_name(std::string_view name) {
  const std::size_t mark = name.rfind(working_mark);
  if (mark == std::string_view::npos || name.front() != '.') return false;
  const std::string_view rest = name.substr(mark + working_mark.size());
  return rest.size() >= random_letter_count &&
         rest.substr(0, random_letter_count).find_first_not_of(letters) == std::string_view::npos &&
         (rest.size() == random_letter_count || rest[random_letter_count] == '.');
}

bool is_named(int file, const fs::path& path) {
  struct stat opened {};
  struct stat named {};
  return ::fstat(file, &opened) == 0 && ::lstat(path.c_str(), &named) == 0 &&
         opened.st_dev == named.st_dev && opened.st_ino == named.st_ino;
}

/// Gives a new file the permissions of the one it follows. What it was not allowed to take over
/// does not widen who may read it.
void take_over_permissions(int file, const struct stat& former) {
  mode_t mode = former.st_mode & 07777U;
  struct stat own {};
  if (::fstat(file, &own) == 0 && own.st_gid != former.st_gid &&
      ::fchown(file, static_cast<uid_t>(-1), former.st_gid) != 0) {
    mode &= ~static_cast<mode_t>(S_IRWXG | S_ISGID);
  }
  // Memory cards and some shares know no permissions.
  static_cast<void>(::fchmod(file, mode));
}

/// Makes an empty, locked file beside `target` under a name that nobody else has. Gives its
/// descriptor, or the error number below 0.
int make_working_file(const fs::path& target, const fs::path& like, fs::path& name) {
  struct stat former {};
  const bool follows =
      ::stat(target.c_str(), &former) == 0 || (!like.empty() && ::stat(like.c_str(), &former) == 0);
  for (int attempt = 0; attempt < 100; ++attempt) {
    name = working_name(target);
    const int file =
        disk().open(name.c_str(), O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW, follows ? 0600 : 0666);
    if (file < 0 && errno == EEXIST) continue;
    if (file < 0) return -errno;
    // Between the two calls somebody may have taken it for left behind.
    if (::flock(file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      disk().close(file);
      continue;
    }
    if (!is_named(file, name)) {
      disk().close(file);
      continue;
    }
    if (follows) take_over_permissions(file, former);
    return file;
  }
  return -EEXIST;
}

}  // namespace

Result<void> write_file_atomically(const fs::path& path, std::string_view contents,
                                   const fs::path& like) {
  auto file = PendingFile::create(path, like);
  if (!file) return tl::unexpected(file.error());
  if (auto outcome = file->write(contents); !outcome) return outcome;
  return file->commit();
}

Result<std::string> read_small_file(const fs::path& path, std::size_t limit_bytes) {
  std::error_code error;
  const auto status = fs::status(path, error);
  if (!fs::exists(status)) {
    return fail(ErrorCode::not_found, "'" + path.string() + "' is not there; check the name.");
  }
  if (fs::is_directory(status)) {
    return fail(ErrorCode::unreadable, "'" + path.string() + "' is a folder; name a file in it.");
  }
  std::ifstream stream(path, std::ios::binary);
  if (!stream) {
    return fail(ErrorCode::unreadable, "Cannot read '" + path.string() +
                                           "': " + std::generic_category().message(errno) +
                                           "; check its permissions.");
  }
  std::string contents;
  std::vector<char> block(1U << 16U);
  while (stream.read(block.data(), static_cast<std::streamsize>(block.size())) ||
         stream.gcount() > 0) {
    contents.append(block.data(), static_cast<std::size_t>(stream.gcount()));
    if (contents.size() > limit_bytes) {
      return fail(ErrorCode::unsupported, "'" + path.string() + "' is larger than " +
                                              std::to_string(limit_bytes >> 20U) +
                                              " MiB; this is not a file that belongs here.");
    }
  }
  if (stream.bad()) {
    return fail(ErrorCode::unreadable,
                "'" + path.string() + "' cannot be read to its end; check the medium it is on.");
  }
  return contents;
}

Result<PendingFile> PendingFile::create(const fs::path& target, const fs::path& like) {
  PendingFile file;
  file.asked_ = target;
  file.target_ = resolved_target(target);
  std::error_code error;
  const fs::file_type kind = fs::status(file.target_, error).type();
  if (kind != fs::file_type::regular && kind != fs::file_type::not_found &&
      kind != fs::file_type::none && kind != fs::file_type::directory) {
    // Renaming over a device or a pipe would put a file in its place.
    return fail(ErrorCode::cannot_write,
                "Cannot write '" + target.string() + "': it is a device or a pipe; name a file.");
  }
  remove_stale_working_files(folder_of(file.target_));
  fs::path name;
  const int made = make_working_file(file.target_, like, name);
  if (made < 0) return tl::unexpected(write_error(target, -made));
  file.descriptor_ = made;
  file.working_path_ = std::move(name);
  return file;
}

PendingFile::PendingFile(PendingFile&& other) noexcept
    : asked_(std::move(other.asked_)),
      target_(std::move(other.target_)),
      working_path_(std::exchange(other.working_path_, {})),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

PendingFile& PendingFile::operator=(PendingFile&& other) noexcept {
  std::swap(asked_, other.asked_);
  std::swap(target_, other.target_);
  std::swap(working_path_, other.working_path_);
  std::swap(descriptor_, other.descriptor_);
  return *this;
}

PendingFile::~PendingFile() {
  // The name goes before the lock does.
  if (!working_path_.empty()) disk().unlink(working_path_.c_str());
  if (descriptor_ >= 0) disk().close(descriptor_);
}

Result<void> PendingFile::write(std::string_view contents) {
  LOWSTRIDE_EXPECTS(!working_path_.empty());
  if (const int error = write_whole(descriptor_, contents.data(), contents.size()); error != 0) {
    return tl::unexpected(write_error(asked_, error));
  }
  return {};
}

Result<void> PendingFile::commit() {
  LOWSTRIDE_EXPECTS(!working_path_.empty());
  if (disk().sync(descriptor_) != 0 || disk().rename(working_path_.c_str(), target_.c_str()) != 0) {
    return tl::unexpected(write_error(asked_, errno));
  }
  working_path_.clear();
  disk().close(std::exchange(descriptor_, -1));
  sync_folder(folder_of(target_));
  return {};
}

void remove_stale_working_files(const fs::path& folder) noexcept {
  try {
    std::error_code error;
    std::vector<fs::path> named;
    for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error)) {
      if (is_working_name(entry->path().filename().string())) named.push_back(entry->path());
    }
    for (const fs::path& path : named) {
      const int file = ::open(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
      if (file < 0) continue;
      struct stat status {};
      if (::fstat(file, &status) == 0 && S_ISREG(status.st_mode) &&
          ::flock(file, LOCK_EX | LOCK_NB) == 0 && is_named(file, path)) {
        disk().unlink(path.c_str());
      }
      ::close(file);
    }
  } catch (const std::exception&) {
    // Tidying is a courtesy: a folder that cannot be read is found out by what is asked of it next.
    return;
  }
}

}  // namespace lowstride
