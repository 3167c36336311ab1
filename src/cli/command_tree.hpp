#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace lowstride::cli {

/// What a shell can offer where a value is typed.
enum class ValueKind { none, words, file, folder, free_text };

/// One option or argument as `--help` has it.
struct OptionFacts {
  std::vector<std::string>
      names;          // as typed, dashes and all, long ones last; of an argument its word
  std::string value;  // word for the value: FILE, NUMBER, T=PITCH; empty for a flag
  ValueKind kind = ValueKind::none;
  std::vector<std::string> words;  // the values allowed, where they can be counted
  std::string limits;              // what else bounds the value, as CLI11 writes it; may be empty
  std::string help;
  bool is_required = false;
  bool takes_several = false;
};

/// One command with its arguments, its options and the sentences under its help; of the program
/// itself with its commands.
struct CommandFacts {
  std::string name;
  std::string summary;
  std::vector<OptionFacts> arguments;
  std::vector<OptionFacts> options;
  std::vector<std::string> closing;  // lines of the footer; examples are indented
  std::vector<CommandFacts> commands;
};

/// Says FILE or FOLDER in the help of every argument and every --output, all of which are paths.
/// Other options that take a path say so themselves, by their type name.
void name_paths(CLI::App& app);

/// The tree that parses the command line, as values: man page and shell completion are written from
/// it and so cannot differ from `--help`. Hidden options are left out.
[[nodiscard]] CommandFacts facts_of(const CLI::App& app);

}  // namespace lowstride::cli
