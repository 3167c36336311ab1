#pragma once

#include <string>
#include <string_view>

#include "src/cli/command_tree.hpp"

namespace lowstride::cli {

/// The manual page lowstride(1) as roff for the man macros (groff_man(7)), in UTF-8: what `--help`
/// of every command says, and files, environment and exit codes. `version` and `date` stand in its
/// foot.
[[nodiscard]] std::string man_page(const CommandFacts& program, std::string_view version,
                                   std::string_view date);

}  // namespace lowstride::cli
