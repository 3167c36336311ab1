#include "src/take/take_files.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <exception>
#include <system_error>
#include <vector>

#include "src/base/atomic_file.hpp"

namespace lowstride::take::detail {
namespace {

namespace fs = std::filesystem;

fs::path with_ending(const fs::path& path, std::string_view ending) {
  fs::path name = path;
  name += ending;
  return name;
}

fs::path folder_of(const fs::path& path) {
  return path.has_parent_path() ? path.parent_path() : fs::path(".");
}

std::string recording_name(const Take& take) {
  return take.recording ? take.recording->path : "no recording";
}

}  // namespace

fs::path journal_path(const fs::path& take_path) { return with_ending(take_path, ".journal"); }

fs::path backup_path(const fs::path& take_path) { return with_ending(take_path, ".bak"); }

fs::path free_name(const fs::path& path, std::string_view ending) {
  std::error_code error;
  fs::path name = with_ending(path, fmt::format(".{}", ending));
  for (int i = 2; fs::exists(fs::symlink_status(name, error)); ++i) {
    name = with_ending(path, fmt::format(".{}-{}", ending, i));
  }
  return name;
}

void sync_folder_of(const fs::path& path) noexcept {
  const int folder = ::open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (folder < 0) return;
  ::fsync(folder);
  ::close(folder);
}

Result<void> keep_as(const fs::path& path, const fs::path& backup) {
  std::error_code error;
  if (!fs::exists(path, error)) return {};
  // A second name costs nothing and is whole or not there. It is made beside its place, since a
  // link cannot replace a file, and renamed over it.
  const fs::path working = free_name(folder_of(backup) / ("." + backup.filename().string()), "new");
  if (::linkat(AT_FDCWD, path.c_str(), AT_FDCWD, working.c_str(), AT_SYMLINK_FOLLOW) == 0) {
    fs::rename(working, backup, error);
    const std::error_code rename_error = error;
    // Two names of one file are left as they are by rename.
    fs::remove(working, error);
    if (!rename_error) return {};
  }
  // Memory cards and some shares have no links.
  return read_small_file(path, most_file_bytes).and_then([&](const std::string& bytes) {
    return write_file_atomically(backup, bytes);
  });
}

Result<void> exchange(const fs::path& a, const fs::path& b) {
  if (::renameat2(AT_FDCWD, a.c_str(), AT_FDCWD, b.c_str(), RENAME_EXCHANGE) == 0) {
    sync_folder_of(a);
    return {};
  }
  // File systems that cannot exchange names take three steps.
  const fs::path third = free_name(a, "swap");
  if (auto outcome = keep_as(a, third); !outcome) return outcome;
  std::error_code error;
  fs::rename(b, a, error);
  if (!error) fs::rename(third, b, error);
  if (error) {
    return fail(ErrorCode::cannot_write,
                fmt::format("Cannot swap '{}' and '{}': {}; nothing was lost.", a.string(),
                            b.string(), error.message()));
  }
  sync_folder_of(a);
  return {};
}

void remove_stale_files(const fs::path& take_path) noexcept {
  try {
    // As made by write_file_atomically for the take and its backup, and by keep_as.
    const std::string take_name = "." + take_path.stem().string() + ".lowstride-";
    const std::string backup_name = "." + take_path.filename().string() + ".lowstride-";
    const std::string link_name = "." + take_path.filename().string() + ".bak.new";
    const std::string take_ending = take_path.extension().string();
    std::error_code error;
    std::vector<fs::path> stale;
    for (const auto& entry : fs::directory_iterator(folder_of(take_path), error)) {
      const std::string name = entry.path().filename().string();
      constexpr std::size_t random_characters = 6;
      const bool is_take = name.starts_with(take_name) && name.ends_with(take_ending) &&
                           name.size() == take_name.size() + random_characters + take_ending.size();
      const bool is_backup = name.starts_with(backup_name) && name.ends_with(".bak") &&
                             name.size() == backup_name.size() + random_characters + 4;
      if (is_take || is_backup || name == link_name) stale.push_back(entry.path());
    }
    for (const fs::path& path : stale) fs::remove(path, error);
  } catch (const std::exception&) {
    // Tidying is a courtesy: a folder that cannot be read is found out by what is asked of it next.
    return;
  }
}

Result<void> check_same_recording(const Take& present, const Take& fresh, const fs::path& path) {
  const auto& a = present.recording;
  const auto& b = fresh.recording;
  const bool is_same =
      a && b ? a->content_hash == b->content_hash && a->sample_count == b->sample_count
             : !a && !b && present.title == fresh.title;
  if (is_same) return {};
  return fail(
      ErrorCode::conflict,
      fmt::format("'{}' belongs to another line ({}, not {}); choose another place with -o.",
                  path.string(), recording_name(present), recording_name(fresh)));
}

}  // namespace lowstride::take::detail
