#include "src/cli/man_page.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace lowstride::cli {
namespace {

/// Text as roff: a backslash is one, a hyphen can be copied as typed, a line cannot begin a
/// request.
std::string roff(std::string_view text) {
  std::string out;
  for (const char sign : text) {
    const bool begins_line = out.empty() || out.back() == '\n';
    if (begins_line && (sign == '.' || sign == '\'')) out += "\\&";
    if (sign == '\\') {
      out += "\\e";
    } else if (sign == '-') {
      out += "\\-";
    } else if (sign == '"') {
      out += "\\(dq";
    } else {
      out += sign;
    }
  }
  return out;
}

std::string synopsis(const CommandFacts& command) {
  std::string text = ".B lowstride " + roff(command.name) + "\n";
  for (const OptionFacts& argument : command.arguments) {
    const std::string dots = argument.takes_several ? " ..." : "";
    text += argument.is_required ? fmt::format(".I {}{}\n", roff(argument.names.front()), dots)
                                 : fmt::format(".RI [ {} {}]\n", roff(argument.names.front()),
                                               dots.empty() ? "" : "\" ...\"");
  }
  for (const OptionFacts& option : command.options) {
    if (option.is_required) {
      text += fmt::format(".B {} \\fI{}\\fR\n", roff(option.names.back()), roff(option.value));
    }
  }
  return text + ".RI [ options ]\n";
}

std::string entry(const OptionFacts& option, bool is_argument) {
  std::string head;
  for (const std::string& name : option.names) {
    head +=
        fmt::format("{}\\f{}{}\\fR", head.empty() ? "" : ", ", is_argument ? 'I' : 'B', roff(name));
  }
  if (!is_argument && !option.value.empty()) {
    std::string value = option.value;
    if (!option.words.empty()) value = fmt::format("{}", fmt::join(option.words, "|"));
    head += fmt::format(" \\fI{}\\fR", roff(value));
  }
  std::string text = fmt::format(".TP\n{}\n{}", head, roff(option.help));
  if (!option.limits.empty()) text += fmt::format(" ({})", roff(option.limits));
  return text + "\n";
}

/// The lines under a help: what is indented is an example, the rest are sentences.
std::string closing(const std::vector<std::string>& lines) {
  std::string text;
  bool is_example = false;
  for (const std::string& line : lines) {
    const bool is_indented = line.starts_with("  ");
    if (is_indented && !is_example) text += ".PP\n.EX\n";
    if (!is_indented && is_example) text += ".EE\n";
    if (!is_indented) text += ".PP\n";
    is_example = is_indented;
    text += roff(line) + "\n";
  }
  return is_example ? text + ".EE\n" : text;
}

std::string section(const CommandFacts& command) {
  std::string text = fmt::format(".SS {}\n{}.PP\n{}.\n", roff(command.name), synopsis(command),
                                 roff(command.summary));
  for (const OptionFacts& argument : command.arguments) text += entry(argument, true);
  for (const OptionFacts& option : command.options) {
    if (option.names.back() != "--help") text += entry(option, false);
  }
  return text + closing(command.closing);
}

constexpr std::string_view rest =
    R"(.SH EXIT STATUS
.TP
.B 0
The work is done.
.TP
.B 1
It failed; one sentence on standard error names the file and the cure.
.TP
.B 2
Wrong usage.
.TP
.B 130
Interrupted; no half\-written file is left.
.SH FILES
.TP
.I NAME.take
The take: a line with its grid, chords, neck and decisions.
.TP
.I NAME.take.journal
Edits since the take was last saved; kept on a crash and read at the next opening.
.TP
.I NAME.take.bak
The take as it was before the last save.
.TP
.I NAME.take.bak\-2, NAME.take.bak\-3 ...
Older versions, ten with that one; see
.BR "lowstride edit \-\-versions" .
.SH ENVIRONMENT
.TP
.B XDG_CACHE_HOME
Evidence of recordings lies in its folder
.IR lowstride ,
which may be deleted at any time.
.TP
.B XDG_CONFIG_HOME
Settings and keys.
.TP
.B XDG_STATE_HOME
What was last seen of each take.
.TP
.B XDG_DATA_HOME
Drill histories.
.SH CAUTION
Low notes in headphones are louder than they seem: start quietly, and take breaks from loops. Ears that ring and hands that tingle belong to
a doctor. What may be copied, slowed down, written out and handed on is a matter of local law.
)";

}  // namespace

std::string man_page(const CommandFacts& program, std::string_view version, std::string_view date) {
  std::string text = fmt::format(
      ".TH LOWSTRIDE 1 \"{2}\" \"lowstride {0}\" \"User Commands\"\n.SH NAME\nlowstride, "
      "lowstride\\-desk "
      "\\- turn a recording of a walking\\-bass line into tab\n.SH SYNOPSIS\n.B lowstride\n.I "
      "command\n"
      ".RI [ options ]\n.br\n.B lowstride\\-desk\n.RI [ take | recording ]\n.SH "
      "DESCRIPTION\n{1}\n.PP\n"
      "The commands below work from a terminal;\n.B lowstride\\-desk\n(or\n.BR \"lowstride desk\" "
      ")\n"
      "is the window in which a take is worked on.\n.SH OPTIONS\n",
      roff(version), roff(program.summary), date);
  for (const OptionFacts& option : program.options) text += entry(option, false);
  text += ".SH COMMANDS\n";
  for (const CommandFacts& command : program.commands) text += section(command);
  text += rest;
  return text;
}

}  // namespace lowstride::cli
