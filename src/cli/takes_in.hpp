#pragma once

#include <filesystem>
#include <vector>

#include "src/base/result.hpp"

namespace lowstride::cli {

/// Every take in a folder and the folders in it, in order of name. Folders that may not be read are
/// passed over. Errors: not_found (no folder), unreadable.
[[nodiscard]] Result<std::vector<std::filesystem::path>> takes_in(
    const std::filesystem::path& folder);

}  // namespace lowstride::cli
