#include "src/take/take_files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <exception>
#include <limits>
#include <optional>
#include <system_error>
#include <tuple>
#include <utility>

#include "src/base/atomic_file.hpp"
#include "src/base/disk.hpp"
#include "src/take/storage.hpp"

namespace lowstride::take::detail {
namespace {

namespace fs = std::filesystem;

constexpr int first_version_number = 2;  // the backup itself is the first
constexpr int most_version_number = 1'000'000'000;

fs::path with_ending(const fs::path& path, std::string_view ending) {
  fs::path name = path;
  name += ending;
  return name;
}

/// Under which keep_as makes a backup before it takes its name.
fs::path first_name_of_backup(const fs::path& backup) {
  return folder_of(backup) / ("." + backup.filename().string() + ".new");
}

/// The number of an older version of what `backup` is the backup of.
std::optional<int> version_number(const fs::path& backup, const fs::path& path) {
  const std::string begin = backup.filename().string() + "-";
  const std::string name = path.filename().string();
  if (!name.starts_with(begin)) return std::nullopt;
  int number = 0;
  const auto parsed =
      std::from_chars(name.data() + begin.size(), name.data() + name.size(), number);
  const bool is_number = parsed.ec == std::errc() && parsed.ptr == name.data() + name.size();
  return is_number && number >= first_version_number && number < most_version_number
             ? std::optional(number)
             : std::nullopt;
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

Result<void> keep_as(const fs::path& path, const fs::path& backup) {
  std::error_code error;
  if (!fs::exists(path, error)) return {};
  // A second name costs nothing and is whole or not there. It is made beside its place, since a
  // link cannot replace a file, and renamed over it.
  const fs::path working = first_name_of_backup(backup);
  disk().unlink(working.c_str());
  if (disk().link(path.c_str(), working.c_str()) == 0) {
    const bool is_renamed = disk().rename(working.c_str(), backup.c_str()) == 0;
    // Two names of one file are left as they are by rename.
    disk().unlink(working.c_str());
    if (is_renamed) return {};
  }
  // Memory cards and some shares have no links.
  return read_small_file(path, most_file_bytes).and_then([&](const std::string& bytes) {
    return write_file_atomically(backup, bytes, path);
  });
}

std::vector<fs::path> version_paths(const fs::path& take_path) {
  struct Version {
    fs::file_time_type saved;
    int number = 0;  // higher was kept later
    fs::path path;
  };
  std::vector<Version> found;
  const fs::path backup = backup_path(take_path);
  const auto look_at = [&found](const fs::path& path, int number) {
    std::error_code gone;
    const auto saved = fs::last_write_time(path, gone);
    if (!gone) found.push_back({saved, number, path});
  };
  look_at(backup, std::numeric_limits<int>::max());
  std::error_code error;
  for (fs::directory_iterator at(folder_of(take_path), error), end; !error && at != end;
       at.increment(error)) {
    if (const auto number = version_number(backup, at->path())) look_at(at->path(), *number);
  }
  std::ranges::sort(found, [](const Version& a, const Version& b) {
    return std::tie(a.saved, a.number) > std::tie(b.saved, b.number);
  });
  std::vector<fs::path> paths;
  paths.reserve(found.size());
  for (Version& version : found) paths.push_back(std::move(version.path));
  return paths;
}

Result<void> keep_version(const fs::path& path) {
  std::error_code error;
  if (!fs::exists(path, error)) return {};
  const fs::path backup = backup_path(path);
  // Two names of one file: a save that failed half-way has kept it already.
  if (fs::exists(backup, error) && !fs::equivalent(path, backup, error)) {
    int number = first_version_number;
    std::vector<fs::path> paths = version_paths(path);
    for (const fs::path& one : paths) {
      number = std::max(number, version_number(backup, one).value_or(0) + 1);
    }
    const fs::path older = with_ending(backup, fmt::format("-{}", number));
    // Where there are no links the backup has no name until it gets its new contents.
    if (disk().link(backup.c_str(), older.c_str()) != 0 &&
        disk().rename(backup.c_str(), older.c_str()) != 0) {
      return tl::unexpected(write_error(older, errno));
    }
    std::erase(paths, backup);
    while (paths.size() + 2 > most_kept_versions) {
      disk().unlink(paths.back().c_str());
      paths.pop_back();
    }
  }
  return keep_as(path, backup);
}

Result<void> exchange(const fs::path& a, const fs::path& b) {
  if (disk().exchange(a.c_str(), b.c_str()) == 0) {
    sync_folder(folder_of(a));
    return {};
  }
  // File systems that cannot exchange names take three steps.
  const fs::path third = free_name(a, "swap");
  if (auto outcome = keep_as(a, third); !outcome) return outcome;
  if (disk().rename(b.c_str(), a.c_str()) != 0 || disk().rename(third.c_str(), b.c_str()) != 0) {
    return fail(ErrorCode::cannot_write,
                fmt::format("Cannot swap '{}' and '{}': {}; nothing was lost.", a.string(),
                            b.string(), std::generic_category().message(errno)));
  }
  sync_folder(folder_of(a));
  return {};
}

void remove_stale_files(const fs::path& take_path) noexcept {
  remove_stale_working_files(folder_of(take_path));
  try {
    disk().unlink(first_name_of_backup(backup_path(take_path)).c_str());
  } catch (const std::exception&) {
    // Tidying is a courtesy; without memory, the next thing asked for says so.
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
  const auto name_of = [&](const Take& take) {
    return a || b ? recording_name(take) : fmt::format("'{}'", take.title);
  };
  return fail(
      ErrorCode::conflict,
      fmt::format("'{}' belongs to another line ({}, not {}); choose another place with -o.",
                  path.string(), name_of(present), name_of(fresh)));
}

}  // namespace lowstride::take::detail
