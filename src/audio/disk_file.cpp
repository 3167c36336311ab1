#include "src/audio/disk_file.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <system_error>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

std::vector<fs::path> working_folders() {
  std::vector<fs::path> folders;
  const auto add = [&](const char* variable, const char* below) {
    // The base directory specification: a relative path is to be ignored.
    if (const char* value = std::getenv(variable); value != nullptr && value[0] == '/') {
      folders.push_back(fs::path(value) / below);
    }
  };
  add("XDG_CACHE_HOME", "lowstride");
  if (folders.empty()) add("HOME", ".cache/lowstride");
  std::error_code error;
  const fs::path temporary = fs::temp_directory_path(error);
  if (!error) folders.push_back(temporary);
  return folders;
}

int make_unlinked_file(const fs::path& folder) {
  const int descriptor = ::open(folder.c_str(), O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
  if (descriptor >= 0) return descriptor;
  // Not every file system knows unnamed files.
  std::string name = (folder / "samples-XXXXXX").string();
  const int named = ::mkostemp(name.data(), O_CLOEXEC);
  if (named >= 0) ::unlink(name.c_str());
  return named;
}

}  // namespace

DiskFile::DiskFile(int descriptor, std::string folder)
    : descriptor_(descriptor), folder_(std::move(folder)) {}

DiskFile::~DiskFile() { ::close(descriptor_); }

Result<std::unique_ptr<DiskFile>> DiskFile::create() {
  for (const fs::path& folder : working_folders()) {
    std::error_code error;
    fs::create_directories(folder, error);
    const int descriptor = make_unlinked_file(folder);
    if (descriptor >= 0) {
      return std::unique_ptr<DiskFile>(new DiskFile(descriptor, quoted(folder)));
    }
  }
  return fail(ErrorCode::cannot_write,
              "There is no folder for working data; set XDG_CACHE_HOME to one that you may write "
              "to.");
}

Result<void> DiskFile::write(std::int64_t place, std::span<const std::byte> bytes) {
  auto offset = static_cast<off_t>(place);
  while (!bytes.empty()) {
    const ssize_t written = ::pwrite(descriptor_, bytes.data(), bytes.size(), offset);
    if (written >= 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(written));
      offset += written;
    } else if (errno != EINTR) {
      return fail(ErrorCode::cannot_write,
                  fmt::format("Cannot keep working data in {}: {}; free some space there, or set "
                              "XDG_CACHE_HOME to a folder with more.",
                              folder_, std::generic_category().message(errno)));
    }
  }
  return {};
}

Result<void> DiskFile::read(std::int64_t place, std::span<std::byte> bytes) const {
  auto offset = static_cast<off_t>(place);
  while (!bytes.empty()) {
    const ssize_t got = ::pread(descriptor_, bytes.data(), bytes.size(), offset);
    if (got > 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(got));
      offset += got;
    } else if (got == 0 || errno != EINTR) {
      return fail(ErrorCode::unreadable,
                  fmt::format("Working data in {} cannot be read back; check that disk.", folder_));
    }
  }
  return {};
}

}  // namespace lowstride::audio
