#pragma once

#include <string>

#include "src/cli/command_tree.hpp"

namespace lowstride::cli {

enum class Shell { bash, zsh, fish };

/// A script that completes commands, options, the words that an option allows and file names, for
/// the shell's own completion (bash needs no package beside itself). Goes where the shell looks:
/// bash-completion/completions/lowstride, zsh/site-functions/_lowstride,
/// fish/vendor_completions.d/lowstride.fish.
[[nodiscard]] std::string completion_script(const CommandFacts& program, Shell shell);

}  // namespace lowstride::cli
