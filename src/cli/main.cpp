#include <cstdio>
#include <exception>
#include <map>
#include <new>
#include <string>
#include <utility>
#include <vector>

#include <fftw3.h>
#include <CLI/CLI.hpp>

#include "src/cli/command_tree.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/completion.hpp"
#include "src/cli/console.hpp"
#include "src/cli/declare.hpp"
#include "src/cli/man_page.hpp"
#include "src/cli/version.hpp"

namespace {

using lowstride::cli::ExitCode;

/// The operations of `edit` with their values, as they stood on the line.
std::vector<std::pair<std::string, std::string>> operations_in_order(const CLI::App& edit) {
  std::vector<std::pair<std::string, std::string>> in_order;
  std::map<const CLI::Option*, std::size_t> used;
  for (const CLI::Option* option : edit.parse_order()) {
    const bool is_operation =
        !option->get_positional() && option->get_group() != lowstride::cli::versions_group;
    if (!is_operation) continue;
    const std::size_t index = used[option]++;
    if (index < option->results().size()) {
      in_order.emplace_back(option->get_name().substr(2), option->results()[index]);
    }
  }
  return in_order;
}

/// Hidden options with which the build writes man page and completion out of the commands' own
/// help.
void add_written_help(CLI::App& app) {
  const auto print = [](const std::string& text) {
    std::fputs(text.c_str(), stdout);
    throw CLI::Success();
  };
  app.add_flag_callback(
         "--man-page",
         [&app, print] {
           print(man_page(lowstride::cli::facts_of(app), lowstride::cli::version_number(),
                          lowstride::cli::release_date()));
         })
      ->group("");
  const std::map<std::string, lowstride::cli::Shell> shells{{"bash", lowstride::cli::Shell::bash},
                                                            {"zsh", lowstride::cli::Shell::zsh},
                                                            {"fish", lowstride::cli::Shell::fish}};
  app.add_option_function<std::string>(
         "--completion",
         [&app, print, shells](const std::string& shell) {
           print(completion_script(lowstride::cli::facts_of(app), shells.at(shell)));
         })
      ->check(CLI::IsMember({"bash", "zsh", "fish"}))
      ->group("");
}

int run(int argc, char** argv) {
  CLI::App app{"Lowstride: work out a walking-bass line by ear, and leave with tab.", "lowstride"};
  app.set_version_flag("--version", lowstride::cli::version_text());
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);
  lowstride::cli::LiftOptions lift;
  lowstride::cli::SlowOptions slow;
  lowstride::cli::PlayOptions play;
  lowstride::cli::ExportOptions export_options;
  lowstride::cli::ReadOptions read;
  lowstride::cli::CompareOptions compare;
  lowstride::cli::EditOptions edit;
  lowstride::cli::DrillOptions drill;
  lowstride::cli::ListOptions list;
  lowstride::cli::DeskOptions desk;
  add_lift(app, lift);
  add_slow(app, slow);
  add_play(app, play);
  add_export(app, export_options);
  lowstride::cli::FingerOptions finger;
  add_finger(app, finger);
  lowstride::cli::ArrangeOptions arrange;
  add_arrange(app, arrange);
  add_drill(app, drill);
  add_list(app, list);
  add_read(app, read);
  add_compare(app, compare);
  add_desk(app, desk);
  std::vector<std::string> typed;
  const CLI::App* edit_command = add_edit(app, edit, typed);
  lowstride::cli::name_paths(app);
  add_written_help(app);
  const std::string first = argc > 1 ? argv[1] : "";
  const auto is_called = [&first](const CLI::App* command) { return command->check_name(first); };
  if (!first.empty() && first.front() != '-' && app.get_subcommands(is_called).empty()) {
    std::fprintf(stderr, "lowstride: '%s' is not a command; lowstride --help lists them.\n",
                 lowstride::cli::printable(first).c_str());
    return static_cast<int>(ExitCode::wrong_usage);
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const int code = app.exit(error);
    return code == 0 ? 0 : static_cast<int>(ExitCode::wrong_usage);
  }
  // aubio guards FFTW's planner with a lock that our own plans do not take.
  fftwf_make_planner_thread_safe();
  lowstride::cli::watch_for_interrupts();
  ExitCode code = ExitCode::failed;
  if (app.got_subcommand("lift")) code = run_lift(lift);
  if (app.got_subcommand("slow")) code = run_slow(slow);
  if (app.got_subcommand("play")) code = run_play(play);
  if (app.got_subcommand("export")) code = run_export(export_options);
  if (app.got_subcommand("finger")) code = run_finger(finger);
  if (app.got_subcommand("arrange")) code = run_arrange(arrange);
  if (app.got_subcommand("drill")) code = run_drill(drill);
  if (app.got_subcommand("list")) code = run_list(list);
  if (app.got_subcommand("read")) code = run_read(read);
  if (app.got_subcommand("compare")) code = run_compare(compare);
  if (app.got_subcommand("desk")) code = run_desk(desk);
  if (app.got_subcommand("edit")) {
    edit.operations = operations_in_order(*edit_command);
    code = run_edit(edit);
  }
  return static_cast<int>(code);
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::bad_alloc&) {
    std::fputs("lowstride: not enough memory; close other programs or work on a passage.\n",
               stderr);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "lowstride: internal error: %s; nothing was saved.\n", error.what());
  }
  return static_cast<int>(ExitCode::failed);
}
