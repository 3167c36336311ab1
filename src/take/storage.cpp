#include "src/take/storage.hpp"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <ctime>
#include <system_error>
#include <utility>

#include "src/base/atomic_file.hpp"
#include "src/base/disk.hpp"
#include "src/take/journal.hpp"
#include "src/take/take_files.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;

bool leads_outside(const fs::path& relative) {
  const fs::path normal = relative.lexically_normal();
  return normal.is_absolute() || (!normal.empty() && *normal.begin() == "..");
}

/// The lock of a take whose journal holds nothing, so that its file may be replaced.
Result<detail::Journal> lock_without_edits(const fs::path& path) {
  const fs::path from = detail::journal_path(path);
  auto journal = detail::Journal::open(from, path);
  if (!journal) return journal;
  const auto contents = detail::read_journal(journal->opened_bytes(), from.string());
  if (!contents) return tl::unexpected(contents.error());
  const auto bytes = read_small_file(path, detail::most_file_bytes);
  const bool is_done_with =
      contents->damaged_lines == 0 &&
      (contents->edits.empty() || (bytes && contents->saved == detail::text_hash(*bytes) &&
                                   contents->saved_edits == contents->edits.size()));
  if (!is_done_with) {
    return fail(
        ErrorCode::conflict,
        fmt::format("'{}' has edits that were not saved; open and save it first.", path.string()));
  }
  journal->restart("");
  return journal;
}

Result<Take> read_take(const fs::path& path) {
  return read_small_file(path, detail::most_file_bytes).and_then([&](const std::string& bytes) {
    return take_from_json(bytes, path.string());
  });
}

}  // namespace

fs::path take_path_for(const fs::path& recording) {
  fs::path path = recording;
  return path.replace_extension(".take");
}

Result<void> save_copy(const Take& take, const fs::path& path) {
  if (auto outcome = check_take(take); !outcome) {
    return fail(ErrorCode::invalid_argument, outcome.error().message);
  }
  std::error_code error;
  const std::string text = take_to_json(take);
  if (!fs::exists(fs::symlink_status(path, error))) return write_file_atomically(path, text);
  auto lock = lock_without_edits(path);
  if (!lock) return tl::unexpected(lock.error());
  const auto present = read_take(path);
  if (!present) {
    return fail(ErrorCode::conflict,
                fmt::format("'{}' is something else than a take of this line; choose another name.",
                            path.string()));
  }
  return detail::check_same_recording(*present, take, path)
      .and_then([&] { return detail::keep_version(path); })
      .and_then([&] { return write_file_atomically(path, text); });
}

std::vector<KeptVersion> kept_versions(const fs::path& path) {
  std::vector<KeptVersion> versions;
  for (fs::path& version : detail::version_paths(path)) {
    struct stat status {};
    if (::stat(version.c_str(), &status) != 0) continue;
    versions.push_back({std::move(version), status.st_mtim.tv_sec});
  }
  return versions;
}

std::string saved_text(const KeptVersion& version) {
  const auto time = static_cast<std::time_t>(version.saved_unix_seconds);
  std::tm parts{};
  std::array<char, 64> text{};
  if (::localtime_r(&time, &parts) == nullptr ||
      std::strftime(text.data(), text.size(), "%Y-%m-%d %H:%M:%S", &parts) == 0) {
    return "at a time unknown";
  }
  return text.data();
}

Result<void> swap_with_version(const fs::path& path, const fs::path& version) {
  std::error_code error;
  if (!fs::exists(path, error) || !fs::exists(version, error)) {
    return fail(ErrorCode::not_found, fmt::format("There is no version '{}' of '{}' to go back to.",
                                                  version.filename().string(), path.string()));
  }
  auto lock = lock_without_edits(path);
  if (!lock) return tl::unexpected(lock.error());
  const auto before = read_take(version);
  if (!before) return tl::unexpected(before.error());
  if (const auto now = read_take(path)) {
    if (auto outcome = detail::check_same_recording(*now, *before, path); !outcome) return outcome;
  }
  return detail::exchange(path, version);
}

fs::path previous_version(const fs::path& path) { return detail::backup_path(path); }

std::string recording_path_for(const fs::path& recording, const fs::path& take_path) {
  std::error_code error;
  const fs::path folder = fs::weakly_canonical(folder_of(take_path), error);
  const fs::path whole = fs::weakly_canonical(recording, error);
  fs::path relative = whole.lexically_relative(folder);
  if (relative.empty()) relative = whole;
  return to_plain_text(relative.generic_string());
}

std::string outside_note(const fs::path& recording, const fs::path& take_path) {
  std::error_code error;
  const fs::path folder = fs::weakly_canonical(folder_of(take_path), error);
  const fs::path whole = fs::weakly_canonical(recording, error);
  if (!leads_outside(whole.lexically_relative(folder))) return {};
  return fmt::format("The recording of '{}' lies outside its folder: '{}' is read.",
                     take_path.string(), whole.string());
}

Result<fs::path> find_recording(const Take& take, const fs::path& take_path,
                                const ContentHash& content_hash, bool allow_outside) {
  if (!take.recording) {
    return fail(
        ErrorCode::not_found,
        fmt::format("'{}' was not worked out from a recording; it can be heard resynthesised "
                    "only.",
                    take_path.string()));
  }
  const fs::path written = take.recording->path;
  const fs::path folder = folder_of(take_path);
  std::vector<fs::path> candidates;
  if (allow_outside || !leads_outside(written)) candidates.push_back(folder / written);
  if (written.has_parent_path() || candidates.empty()) {
    candidates.push_back(folder / written.filename());
  }
  std::error_code error;
  if (take.recording->path.find("\xEF\xBF\xBD") != std::string::npos) {
    // The name is not UTF-8 and was written as well as it goes.
    for (const auto& entry : fs::directory_iterator(folder, error)) {
      if (to_plain_text(entry.path().filename().string()) == written.filename().string()) {
        candidates.push_back(entry.path());
      }
    }
  }
  std::optional<fs::path> other;
  for (const fs::path& candidate : candidates) {
    if (!fs::is_regular_file(candidate, error)) continue;
    const auto hash = content_hash(candidate);
    if (!hash) return tl::unexpected(hash.error());
    if (*hash == take.recording->content_hash) return candidate.lexically_normal();
    other = candidate;
  }
  if (other) {
    return fail(ErrorCode::conflict,
                fmt::format("'{}' is not the recording that '{}' was worked out from; put that one "
                            "beside the take under this name.",
                            other->string(), take_path.string()));
  }
  return fail(ErrorCode::not_found,
              fmt::format("The recording '{}' of '{}' is not there; put it beside the take.",
                          take.recording->path, take_path.string()));
}

}  // namespace lowstride::take
