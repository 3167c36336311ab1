#include "src/cli/declare.hpp"

#include <CLI/CLI.hpp>

namespace lowstride::cli {

void add_drill(CLI::App& app, DrillOptions& options) {
  CLI::App* drill = app.add_subcommand(
      "drill", "Ear training from the confirmed notes and chords of your own takes");
  drill->add_option("takes", options.takes, "Takes to drill, or folders of them");
  drill->add_flag("--due", options.is_due, "What is due, from every take drilled before");
  drill->add_option("--player", options.player, "Whose history (default: player)");
  drill
      ->add_option("--kinds", options.kinds,
                   "note, role, change, chord, bar, play, which, passage; several with commas "
                   "(default: all, in turn)")
      ->delimiter(',')
      ->check(
          CLI::IsMember({"note", "role", "change", "chord", "bar", "play", "which", "passage"}));
  drill->add_option("--passage", options.passage, "Only this passage");
  drill->add_option("--minutes", options.minutes, "Length of the session (default: 15)")
      ->check(CLI::Range(1.0, 120.0));
  drill->add_option("--new", options.most_new, "New items begun at most (default: 12)")
      ->check(CLI::Range(0, 200));
  drill->add_flag("--silent", options.is_silent,
                  "Sound nothing: say what to listen to, where, and how fast");
  drill->add_flag("--listen", options.has_input,
                  "Answer notes and lines by playing into the microphone or line in");
  drill->add_option("--input", options.input, "Which input (default: the system's)");
  drill->add_option("--answers", options.answers, "Take what was played from a recording")
      ->type_name("FILE");
  drill->add_flag("--tuner", options.shows_tuner, "Show tuner and meter of the input, and end");
  drill->add_flag("--measure-latency", options.measures_latency,
                  "Measure the way from loudspeaker to input, keep it, and end");
  drill
      ->add_option("--progress", options.progress,
                   "Write plots of the history, .svg or .png, and end")
      ->type_name("FILE");
  drill->add_option("--csv", options.csv, "Write the history as a table, and end")
      ->type_name("FILE");
  drill->add_flag("--fit", options.fits_weights,
                  "Fit the memory model to the history, say what it gained, and end");
  drill->footer(
      "Examples:\n"
      "  lowstride drill trio.take\n"
      "  lowstride drill lessons --kinds note\n"
      "  lowstride drill --due --player Mia --minutes 10\n"
      "  lowstride drill trio.take --kinds note,role --passage bridge\n"
      "  lowstride drill --player Mia --progress mia.svg\n"
      "While a question stands: an answer; Enter hears it again; ? asks for a hint; ! shows the "
      "answer; q ends.\n"
      "Start quietly; rest after twenty minutes.\n");
}

void add_list(CLI::App& app, ListOptions& options) {
  CLI::App* list = app.add_subcommand(
      "list", "Every take in a folder: length, notes, doubts left, share confirmed, drills due");
  list->add_option("folder", options.folder, "The folder; folders in it are looked through too")
      ->required();
  list->add_option("--player", options.player, "Whose drills are due (default: player)");
  list->footer(
      "Examples:\n"
      "  lowstride list lessons\n"
      "  lowstride list lessons --player Mia\n"
      "Due counts only what that player was asked before; - is nothing yet.");
}

void add_desk(CLI::App& app, DeskOptions& options) {
  CLI::App* desk = app.add_subcommand("desk", "Open the window in which a take is worked on");
  desk->add_option("input", options.input, "A take or a recording");
  desk->footer(
      "Examples:\n"
      "  lowstride desk\n"
      "  lowstride desk trio.take\n"
      "  lowstride desk rehearsal.m4a\n");
}

}  // namespace lowstride::cli
