#include "src/cli/command_tree.hpp"

#include <sstream>
#include <string_view>

#include <CLI/CLI.hpp>

namespace lowstride::cli {
namespace {

std::vector<std::string> split(std::string_view text, char separator) {
  std::vector<std::string> parts;
  std::stringstream stream{std::string(text)};
  for (std::string part; std::getline(stream, part, separator);) parts.push_back(part);
  return parts;
}

/// CLI11 writes a value as its type, then a colon and each validator: "TEXT:{bass,guitar}",
/// "INT:INT in [0 - 12]", "TEXT:FILE".
void read_value(OptionFacts& facts, const std::string& type_name) {
  const auto colon = type_name.find(':');
  const std::string type = type_name.substr(0, colon);
  const std::string bounds = colon == std::string::npos ? "" : type_name.substr(colon + 1);
  facts.value = type == "INT" || type == "FLOAT" ? "NUMBER" : type;
  facts.kind = ValueKind::free_text;
  if (bounds.starts_with('{') && bounds.ends_with('}')) {
    facts.kind = ValueKind::words;
    facts.words = split(std::string_view(bounds).substr(1, bounds.size() - 2), ',');
  } else if (type == "FILE" || bounds == "FILE") {
    facts.value = "FILE";
    facts.kind = ValueKind::file;
  } else if (type == "FOLDER") {
    facts.kind = ValueKind::folder;
  } else if (const auto range = bounds.find(" in ["); range != std::string::npos) {
    const auto dash = bounds.find(" - ", range);
    facts.limits = bounds.substr(range + 5, dash - range - 5) + " to " +
                   bounds.substr(dash + 3, bounds.size() - dash - 4);
  }
}

OptionFacts facts_of(const CLI::Option& option) {
  OptionFacts facts;
  if (option.get_positional()) {
    facts.names.push_back(option.get_name(true));
  } else {
    for (const std::string& name : option.get_snames()) facts.names.push_back("-" + name);
    for (const std::string& name : option.get_lnames()) facts.names.push_back("--" + name);
  }
  facts.help = option.get_description();
  facts.is_required = option.get_required();
  facts.takes_several = option.get_expected_max() > 1;
  if (option.get_items_expected_max() > 0) read_value(facts, option.get_type_name());
  return facts;
}

void add_options(CommandFacts& facts, const CLI::App& app) {
  for (const CLI::Option* option : app.get_options()) {
    if (option->get_group().empty()) continue;
    (option->get_positional() ? facts.arguments : facts.options).push_back(facts_of(*option));
  }
  for (const CLI::App* below : app.get_subcommands({})) {
    // A group of options, of which the help says how many may be given.
    if (below->get_name().empty()) add_options(facts, *below);
  }
}

}  // namespace

void name_paths(CLI::App& app) {
  for (CLI::App* command : app.get_subcommands({})) {
    for (CLI::Option* option : command->get_options()) {
      const bool is_output = option->check_lname("output");
      if (!option->get_positional() && !is_output) continue;
      option->type_name(option->get_name(true) == "folder" ? "FOLDER" : "FILE");
    }
  }
}

CommandFacts facts_of(const CLI::App& app) {
  CommandFacts facts;
  facts.name = app.get_name();
  facts.summary = app.get_description();
  add_options(facts, app);
  facts.closing = split(app.get_footer(), '\n');
  for (const CLI::App* command : app.get_subcommands({})) {
    if (!command->get_name().empty()) facts.commands.push_back(facts_of(*command));
  }
  return facts;
}

}  // namespace lowstride::cli
