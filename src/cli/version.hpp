#pragma once

#include <string>
#include <string_view>

namespace lowstride::cli {

/// Version as MAJOR.MINOR.PATCH.
[[nodiscard]] std::string_view version_number() noexcept;

/// The day on which that version was declared, as YYYY-MM-DD; not the day of the build, so that the
/// same source gives the same bytes.
[[nodiscard]] std::string_view release_date() noexcept;

/// What `--version` prints: number, commit it was built from (`unknown` outside a clone, `+` after
/// it where the tree was changed), compiler, and the libraries it was built against.
[[nodiscard]] std::string version_text();

}  // namespace lowstride::cli
