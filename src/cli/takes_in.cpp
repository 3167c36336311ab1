#include "src/cli/takes_in.hpp"

#include <algorithm>
#include <system_error>

#include <fmt/format.h>

#include "src/cli/console.hpp"

namespace lowstride::cli {

Result<std::vector<std::filesystem::path>> takes_in(const std::filesystem::path& folder) {
  std::error_code error;
  if (!std::filesystem::is_directory(folder, error)) {
    return fail(ErrorCode::not_found,
                fmt::format("'{}' is no folder; name the folder that your takes lie in.",
                            printable(folder.string())));
  }
  std::vector<std::filesystem::path> paths;
  std::filesystem::recursive_directory_iterator entry(
      folder, std::filesystem::directory_options::skip_permission_denied, error);
  if (error) {
    return fail(ErrorCode::unreadable, fmt::format("'{}' cannot be read; look at its permissions.",
                                                   printable(folder.string())));
  }
  for (; entry != std::filesystem::recursive_directory_iterator(); entry.increment(error)) {
    if (error) break;
    if (entry->path().extension() == ".take" && entry->is_regular_file(error)) {
      paths.push_back(entry->path());
    }
  }
  std::ranges::sort(paths);
  return paths;
}

}  // namespace lowstride::cli
