#include "src/take/take_files.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <exception>
#include <system_error>

#include "src/base/atomic_file.hpp"
#include "src/base/disk.hpp"

namespace lowstride::take::detail {
namespace {

namespace fs = std::filesystem;

fs::path with_ending(const fs::path& path, std::string_view ending) {
  fs::path name = path;
  name += ending;
  return name;
}

/// Under which keep_as makes a backup before it takes its name.
fs::path first_name_of_backup(const fs::path& backup) {
  return folder_of(backup) / ("." + backup.filename().string() + ".new");
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
