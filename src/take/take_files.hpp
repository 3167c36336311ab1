#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/take.hpp"

// Names and handling of the files of a take. Inside of src/take alone.
namespace lowstride::take::detail {

/// No take or journal is larger: 250,000 notes are 75 MB.
inline constexpr std::size_t most_file_bytes = std::size_t{128} << 20U;

[[nodiscard]] std::filesystem::path journal_path(const std::filesystem::path& take_path);
[[nodiscard]] std::filesystem::path backup_path(const std::filesystem::path& take_path);

/// A name beside `path` that is free: PATH.ENDING, PATH.ENDING-2, …
[[nodiscard]] std::filesystem::path free_name(const std::filesystem::path& path,
                                              std::string_view ending);

/// Gives what is at `path` a second name, `backup`, replacing what was there; nothing happens when
/// there is no file. Errors: cannot_write.
[[nodiscard]] Result<void> keep_as(const std::filesystem::path& path,
                                   const std::filesystem::path& backup);

/// Keeps what is at `path` as its backup, and what was the backup until now as an older version:
/// PATH.bak-2, PATH.bak-3, … with the next free number. Of more than `most_kept_versions` in all
/// the one that was saved first goes. Errors: cannot_write.
[[nodiscard]] Result<void> keep_version(const std::filesystem::path& path);

/// The versions of a take that lie beside it, backup included, saved last first.
[[nodiscard]] std::vector<std::filesystem::path> version_paths(
    const std::filesystem::path& take_path);

/// Swaps two files; each has a name at every moment. Errors: cannot_write.
[[nodiscard]] Result<void> exchange(const std::filesystem::path& a, const std::filesystem::path& b);

/// Removes what a killed save left behind: working files, and the name that keep_as makes first.
/// Only under the take's lock.
void remove_stale_files(const std::filesystem::path& take_path) noexcept;

/// Error (conflict) unless both takes are of one recording; of takes without one, unless they have
/// one title. `path` is where `present` lies.
[[nodiscard]] Result<void> check_same_recording(const Take& present, const Take& fresh,
                                                const std::filesystem::path& path);

}  // namespace lowstride::take::detail
