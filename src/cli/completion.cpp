#include "src/cli/completion.hpp"

#include <algorithm>
#include <string_view>

#include <fmt/format.h>

namespace lowstride::cli {
namespace {

std::string replaced(std::string_view text, std::string_view signs, std::string_view escape) {
  std::string out;
  for (const char sign : text) {
    if (signs.find(sign) != std::string_view::npos) out += escape;
    out += sign;
  }
  return out;
}

/// Between single quotes of bash and zsh, which know no escape within them.
std::string within_quotes(std::string_view text) {
  std::string out;
  for (const char sign : text) {
    if (sign == '\'') {
      out += "'\\''";
    } else {
      out += sign;
    }
  }
  return out;
}

std::string all_names(const std::vector<OptionFacts>& options) {
  std::string names;
  for (const OptionFacts& option : options) {
    names += (names.empty() ? "" : " ") + option.names.back();
  }
  return names;
}

// ---- bash

std::string bash_values(const CommandFacts& command) {
  std::string text;
  for (const OptionFacts& option : command.options) {
    if (option.kind == ValueKind::none) continue;
    text += fmt::format("    '{} '{}) ", command.name,
                        fmt::join(option.names, fmt::format("|'{} '", command.name)));
    switch (option.kind) {
      case ValueKind::words:
        text += fmt::format("words='{}'", fmt::join(option.words, " "));
        break;
      case ValueKind::file:
        text += "compopt -o default; return";
        break;
      case ValueKind::folder:
        text += "compopt -o dirnames; return";
        break;
      default:
        text += "return";
    }
    text += " ;;\n";
  }
  return text;
}

std::string bash_script(const CommandFacts& program) {
  std::string commands;
  std::string values;
  std::string options;
  for (const CommandFacts& command : program.commands) {
    commands += (commands.empty() ? "" : " ") + command.name;
    values += bash_values(command);
    options += fmt::format("    {}) words='{}' ;;\n", command.name, all_names(command.options));
  }
  return fmt::format(R"(# bash completion for lowstride, written from the command's own help.
_lowstride() {{
  local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD - 1]}} command=${{COMP_WORDS[1]}} words=
  COMPREPLY=()
  # bash takes --option=value for three words.
  if [ "$current" = = ]; then
    current=
  elif [ "$before" = = ]; then
    before=${{COMP_WORDS[COMP_CWORD - 2]}}
  fi
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W '{0} {1}' -- "$current"))
    return
  fi
  case "$command $before" in
{2}  esac
  if [ -z "$words" ]; then
    if [ "${{current:0:1}}" != - ]; then
      compopt -o default
      return
    fi
    case $command in
{3}    esac
  fi
  COMPREPLY=($(compgen -W "$words" -- "$current"))
}}
complete -F _lowstride lowstride
complete -f lowstride-desk
)",
                     commands, all_names(program.options), values, options);
}

// ---- zsh

std::string zsh_value(const OptionFacts& option) {
  const std::string what = option.value.empty() ? option.names.front() : option.value;
  switch (option.kind) {
    case ValueKind::none:
      return "";
    case ValueKind::words:
      return fmt::format(":{}:({})", what, fmt::join(option.words, " "));
    case ValueKind::file:
      return fmt::format(":{}:_files", what);
    case ValueKind::folder:
      return fmt::format(":{}:_files -/", what);
    case ValueKind::free_text:
      break;
  }
  return fmt::format(":{}: ", replaced(what, ":", "\\"));
}

std::string zsh_specification(const OptionFacts& option) {
  const std::string help = replaced(option.help, "\\[]:", "\\");
  std::string text;
  for (const std::string& name : option.names) {
    text += fmt::format(" \\\n        '{}{}[{}]{}'", option.takes_several ? "*" : "", name,
                        within_quotes(help), within_quotes(zsh_value(option)));
  }
  return text;
}

std::string zsh_script(const CommandFacts& program) {
  std::string commands;
  std::string cases;
  for (const CommandFacts& command : program.commands) {
    commands += fmt::format("        '{}:{}'\n", command.name,
                            within_quotes(replaced(command.summary, ":", "\\")));
    cases += fmt::format("      {})\n        _arguments -s", command.name);
    for (const OptionFacts& option : command.options) cases += zsh_specification(option);
    for (const OptionFacts& argument : command.arguments) {
      cases += fmt::format(" \\\n        '{}{}'", argument.takes_several ? "*" : "",
                           zsh_value(argument));
    }
    cases += " ;;\n";
  }
  std::string own;
  for (const OptionFacts& option : program.options) own += zsh_specification(option);
  return fmt::format(R"(#compdef lowstride
# zsh completion for lowstride, written from the command's own help.
_lowstride() {{
  local curcontext=$curcontext state line
  local -a commands
  _arguments -C{0} \
        '1:command:->command' '*::argument:->argument'
  case $state in
    command)
      commands=(
{1}      )
      _describe command commands ;;
    argument)
      case $line[1] in
{2}      esac ;;
  esac
}}
if [ "$funcstack[1]" = _lowstride ]; then
  _lowstride "$@"
else
  compdef _lowstride lowstride
fi
)",
                     own, commands, cases);
}

// ---- fish

std::string fish_quoted(std::string_view text) { return "'" + replaced(text, "\\'", "\\") + "'"; }

std::string fish_option(const OptionFacts& option, std::string_view condition) {
  std::string text = fmt::format("complete -c lowstride -n {}", fish_quoted(condition));
  for (const std::string& name : option.names) {
    text += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
  }
  switch (option.kind) {
    case ValueKind::none:
      break;
    case ValueKind::words:
      text += " -x -a " + fish_quoted(fmt::format("{}", fmt::join(option.words, " ")));
      break;
    case ValueKind::file:
      text += " -r -F";
      break;
    case ValueKind::folder:
      text += " -x -a '(__fish_complete_directories)'";
      break;
    case ValueKind::free_text:
      text += " -x";
      break;
  }
  return text + " -d " + fish_quoted(option.help) + "\n";
}

std::string fish_script(const CommandFacts& program) {
  std::string text =
      "# fish completion for lowstride, written from the command's own help.\ncomplete -c "
      "lowstride -f\n";
  for (const OptionFacts& option : program.options) {
    text += fish_option(option, "__fish_use_subcommand");
  }
  for (const CommandFacts& command : program.commands) {
    text += fmt::format("complete -c lowstride -n __fish_use_subcommand -a {} -d {}\n",
                        command.name, fish_quoted(command.summary));
    const std::string condition = "__fish_seen_subcommand_from " + command.name;
    const bool takes_path = std::ranges::any_of(command.arguments, [](const OptionFacts& argument) {
      return argument.kind == ValueKind::file || argument.kind == ValueKind::folder;
    });
    if (takes_path) text += fmt::format("complete -c lowstride -n {} -F\n", fish_quoted(condition));
    for (const OptionFacts& option : command.options) text += fish_option(option, condition);
  }
  return text;
}

}  // namespace

std::string completion_script(const CommandFacts& program, Shell shell) {
  switch (shell) {
    case Shell::bash:
      return bash_script(program);
    case Shell::zsh:
      return zsh_script(program);
    case Shell::fish:
      break;
  }
  return fish_script(program);
}

}  // namespace lowstride::cli
