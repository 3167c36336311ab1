#include "src/base/atomic_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>
#include <utility>
#include <vector>

#include "dsp/base/contracts.hpp"

namespace lowstride {
namespace {

namespace fs = std::filesystem;

/// A file descriptor closed on every way out.
class Descriptor {
 public:
  explicit Descriptor(int value) noexcept : value_(value) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (value_ >= 0) ::close(value_);
  }
  [[nodiscard]] int get() const noexcept { return value_; }
  [[nodiscard]] bool is_open() const noexcept { return value_ >= 0; }

 private:
  int value_;
};

tl::unexpected<Error> cannot_write(const fs::path& path, int error_number) {
  std::string cure = "choose another place";
  if (error_number == ENOSPC || error_number == EDQUOT || error_number == EFBIG) {
    cure = "free some space";
  } else if (error_number == EACCES || error_number == EROFS || error_number == EPERM) {
    cure = "choose a folder that you may write to";
  } else if (error_number == ENOENT || error_number == ENOTDIR) {
    cure = "create its folder first";
  }
  return fail(ErrorCode::cannot_write, "Cannot write '" + path.string() +
                                           "': " + std::generic_category().message(error_number) +
                                           "; " + cure + ".");
}

/// What is renamed over: the file behind a symbolic link, not the link.
fs::path resolved_target(const fs::path& path) {
  std::error_code error;
  if (fs::is_symlink(fs::symlink_status(path, error))) {
    fs::path real = fs::weakly_canonical(path, error);
    if (!error) return real;
  }
  return path;
}

fs::path folder_of(const fs::path& path) {
  return path.has_parent_path() ? path.parent_path() : fs::path(".");
}

/// Permissions of the file that will be replaced, or those of a new file under the umask.
mode_t mode_for(const fs::path& target) {
  struct stat status {};
  if (::stat(target.c_str(), &status) == 0) return status.st_mode & 07777U;
  const mode_t mask = ::umask(0);
  ::umask(mask);
  return 0666U & ~mask;
}

/// Makes an empty file beside `target` under a name that nobody else has. The ending is kept, since
/// libraries choose a format by it.
Result<fs::path> make_working_file(const fs::path& target, int& descriptor) {
  std::string pattern = (folder_of(target) / ("." + target.stem().string() + ".lowstride-XXXXXX" +
                                              target.extension().string()))
                            .string();
  std::vector<char> name(pattern.begin(), pattern.end());
  name.push_back('\0');
  descriptor =
      ::mkostemps(name.data(), static_cast<int>(target.extension().string().size()), O_CLOEXEC);
  if (descriptor < 0) return cannot_write(target, errno);
  if (::fchmod(descriptor, mode_for(target)) != 0 && errno != EPERM && errno != ENOTSUP) {
    const int error_number = errno;
    ::close(descriptor);
    ::unlink(name.data());
    return cannot_write(target, error_number);
  }
  return fs::path(name.data());
}

Result<void> sync_and_rename(int descriptor, const fs::path& working, const fs::path& target) {
  if (::fsync(descriptor) != 0) return cannot_write(target, errno);
  if (::rename(working.c_str(), target.c_str()) != 0) return cannot_write(target, errno);
  const Descriptor folder(::open(folder_of(target).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  // Some file systems cannot sync a folder; the rename itself has happened.
  if (folder.is_open()) ::fsync(folder.get());
  return {};
}

}  // namespace

Result<void> write_file_atomically(const fs::path& path, std::string_view contents) {
  const fs::path target = resolved_target(path);
  int raw = -1;
  const auto working = make_working_file(target, raw);
  if (!working) return tl::unexpected(working.error());
  const Descriptor file(raw);
  Result<void> outcome;
  while (!contents.empty() && outcome) {
    const ssize_t written = ::write(file.get(), contents.data(), contents.size());
    if (written >= 0) {
      contents.remove_prefix(static_cast<std::size_t>(written));
    } else if (errno != EINTR) {
      outcome = cannot_write(path, errno);
    }
  }
  if (outcome) outcome = sync_and_rename(file.get(), *working, target);
  if (!outcome) ::unlink(working->c_str());
  return outcome;
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

Result<PendingFile> PendingFile::create(const fs::path& target) {
  PendingFile file;
  file.target_ = resolved_target(target);
  int raw = -1;
  auto working = make_working_file(file.target_, raw);
  if (!working) return tl::unexpected(working.error());
  ::close(raw);
  file.working_path_ = std::move(*working);
  return file;
}

PendingFile::PendingFile(PendingFile&& other) noexcept
    : target_(std::move(other.target_)), working_path_(std::move(other.working_path_)) {
  other.working_path_.clear();
}

PendingFile& PendingFile::operator=(PendingFile&& other) noexcept {
  std::swap(target_, other.target_);
  std::swap(working_path_, other.working_path_);
  return *this;
}

PendingFile::~PendingFile() {
  if (!working_path_.empty()) ::unlink(working_path_.c_str());
}

Result<void> PendingFile::commit() {
  LOWSTRIDE_EXPECTS(!working_path_.empty());
  const Descriptor file(::open(working_path_.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return cannot_write(target_, errno);
  auto outcome = sync_and_rename(file.get(), working_path_, target_);
  if (outcome) working_path_.clear();
  return outcome;
}

}  // namespace lowstride
