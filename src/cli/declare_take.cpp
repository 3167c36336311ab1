#include "src/cli/declare.hpp"

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "src/cli/option_blocks.hpp"
#include "src/take/commands.hpp"

namespace lowstride::cli {

void add_export(CLI::App& app, ExportOptions& options) {
  CLI::App* command = app.add_subcommand(
      "export", "Write a take as tab, printed pages, MusicXML, MIDI file or tables");
  command->add_option("take", options.take, "The take")->required();
  command->add_option("--format", options.format, "text, pdf, svg, png, musicxml, midi or tables")
      ->required()
      ->check(CLI::IsMember({"text", "pdf", "svg", "png", "musicxml", "midi", "tables"}));
  command->add_option("--passage", options.passage, "Only this passage");
  command->add_option("--bars", options.bars, "Only these bars: 5-12");
  command->add_option("--paper", options.paper, "a4 or letter (pdf, svg, png)")
      ->check(CLI::IsMember({"a4", "letter"}));
  command->add_flag("--tab-only", options.is_tab_only,
                    "Pages with tab and its rhythm, without a staff (pdf, svg, png)");
  command->add_flag("--written-out", options.is_written_out,
                    "Write bars that come again each time, without repeat signs");
  CLI::Option* as_played = command->add_flag("--as-played");
  as_played->description("Notes where they were played (midi; the default)");
  command
      ->add_flag("--quantised", options.is_quantised,
                 "Notes where the sheet writes them, evenly swung (midi)")
      ->excludes(as_played);
  command->add_flag("--steady", options.is_steady,
                    "One tempo instead of the recording's own (midi)");
  command->add_option(
      "--level", options.levels,
      "For pupils: 1 roots, 2 with walk-ups, 3 root and fifth, 4 chord tones, 5 "
      "line with approaches, 6 whole line; 1,3,6 or all: a page each (pdf, svg, png, "
      "text)");
  command->add_flag("--roles", options.has_roles,
                    "What each note does against its chord, under the counts (text)");
  command->add_option("-o,--output", options.output,
                      "The file; for tables a stem or a folder (text: standard output if left "
                      "out)");
  add_width(*command, options.width);
  command->footer(
      "Examples:\n"
      "  lowstride export trio.take --format text\n"
      "  lowstride export trio.take --format pdf -o trio.pdf\n"
      "  lowstride export trio.take --format pdf --bars 1-12 --paper letter -o chorus.pdf\n"
      "  lowstride export trio.take --format text --level 2 --roles\n"
      "  lowstride export trio.take --format pdf --level all -o trio-lesson.pdf\n"
      "  lowstride export trio.take --format midi -o trio.mid\n"
      "  lowstride export trio.take --format musicxml -o trio.musicxml\n"
      "  lowstride export trio.take --format tables -o tables/trio\n");
}

void add_finger(CLI::App& app, FingerOptions& options) {
  CLI::App* finger = app.add_subcommand(
      "finger", "Put the line of a take under a hand: string, fret and finger for each note");
  finger->add_option("take", options.take, "The take")->required();
  finger->add_option("--position", options.position,
                     "Where the hand stays: open (first position with open strings), low, a fret "
                     "for the index finger, or anywhere");
  finger->add_flag("--prefer-open", options.prefer_open, "Open strings wherever there is one");
  finger->add_option("--max-span-mm", options.max_span_mm,
                     "Widest stretch from index to little finger (default 135)");
  finger->add_option("--leave-out", options.leave_out,
                     "Strings that are not played, as 1 or 1,2 (1 is the highest); none = all are "
                     "played");
  add_neck(*finger, options,
           {"Another neck: bass, bass5, guitar, …", "E1 A1 D2 G2", "Fret of the capo, 0 for none"});
  finger->add_option("--frets", options.fret_count, "Number of frets")->check(CLI::Range(1, 36));
  finger->add_option("--scale-mm", options.scale_mm, "Length of the strings, nut to bridge")
      ->check(CLI::Range(200.0, 1500.0));
  add_octave(*finger, options.octave);
  finger
      ->add_option("--pin", options.pins,
                   "T=STRING:FRET: the note there is played there; its phrase is fingered anew")
      ->allow_extra_args(false)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  finger->add_option("--unpin", options.unpins, "all, T or FROM..TO: free again")
      ->allow_extra_args(false)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  finger->add_option("--level", options.level,
                     "The take's level 1 (roots) to 6 (whole line), with -o as a take of its own");
  finger->add_option("--alternatives", options.alternatives,
                     "Print the other places of the notes there: all, T or FROM..TO");
  finger->add_option("-o,--output", options.output,
                     "Write another take and leave this one as it is");
  add_width(*finger, options.width);
  finger->footer(
      "Examples:\n"
      "  lowstride finger trio.take --position open\n"
      "  lowstride finger trio.take --instrument guitar --capo 2 -o trio-guitar.take\n"
      "  lowstride finger trio.take --pin b3:2=3:7 --alternatives b3..b4\n"
      "What the hand likes stays with the take, so that later edits are fingered alike. Stretch no "
      "further than is easy; when a hand hurts, stop, and ask somebody licensed to advise.\n" +
      std::string(time_help));
}

void add_arrange(CLI::App& app, ArrangeOptions& options) {
  CLI::App* arrange = app.add_subcommand(
      "arrange", "Write bass line and chords of a take for one guitar that plays both");
  arrange->add_option("take", options.take, "The take")->required();
  arrange
      ->add_option("--style", options.style,
                   "strum (after the bass), root-fifth, boogie, walking (the line with shells on "
                   "two and four) or motif (the line under held chords)")
      ->capture_default_str();
  add_neck(*arrange, options, {"The neck: guitar, guitar-drop-d, …", "D2 A2 D3 G3 B3 E4"});
  arrange
      ->add_option("--tempo", options.tempo_bpm,
                   "A steady tempo instead of the recording's own beats")
      ->check(CLI::Range(20.0, 400.0));
  arrange->add_option("-o,--output", options.output, "The take to write (else only printed)");
  add_width(*arrange, options.width);
  arrange->footer(
      "Examples:\n"
      "  lowstride arrange trio.take --style walking -o trio-guitar.take\n"
      "  lowstride arrange trio.take --style boogie --instrument guitar-drop-d --tempo 100 -o "
      "b.take\n"
      "Every grip is one that four fingers can hold; what none can is left out and said.\n");
}

void add_read(CLI::App& app, ReadOptions& options) {
  CLI::App* read = app.add_subcommand(
      "read", "Read a written line (MIDI file, MusicXML, tables) as a take without a recording");
  read->add_option("file", options.file,
                   "A Standard MIDI File, MusicXML, or the stem of tables (NAME.notes.tsv …)")
      ->required();
  add_neck(*read, options, {"Whose hand will play: bass, bass5, bass6, guitar, …"});
  read->add_option("--part", options.part, "Track or part, counted from 1 (default: the low line)")
      ->check(CLI::Range(1, 1000));
  read->add_option("-o,--output", options.output, "The take to write (default: beside the file)");
  add_width(*read, options.width, is_terminals_width);
  read->footer(
      "Examples:\n"
      "  lowstride read lesson-3.mid\n"
      "  lowstride read etude.musicxml --instrument bass5 -o etude.take\n"
      "What is read counts as confirmed. A string and fret that the file gives is kept.\n");
}

void add_compare(CLI::App& app, CompareOptions& options) {
  CLI::App* compare = app.add_subcommand(
      "compare", "Tell what differs between a take and another, note by note, and the scores");
  compare->add_option("take", options.take, "The take")->required();
  compare
      ->add_option(
          "other", options.other,
          "What it is held against: a take, tables (NAME.notes.tsv …), a MIDI file, MusicXML")
      ->required();
  compare
      ->add_option("--by", options.by,
                   "clock or bars (default: the clock for tables and takes of one recording, bars "
                   "for a written line)")
      ->check(CLI::IsMember({"clock", "bars"}));
  compare->add_flag("--scores", options.has_scores_only, "Counts and scores alone");
  compare->footer(
      "Examples:\n"
      "  lowstride compare pupil.take teacher.take\n"
      "  lowstride compare trio.take truth/trio.notes.tsv --scores\n"
      "  lowstride compare rehearsal.take chart.musicxml\n"
      "What the other has and the take has not is missed; what only the take has is extra. The "
      "exit "
      "code is 0 whether or not they differ.\n");
}

CLI::App* add_edit(CLI::App& app, EditOptions& options, std::vector<std::string>& typed) {
  CLI::App* edit = app.add_subcommand(
      "edit", "Change a take: confirm, correct, remove, name; all of a call or nothing");
  edit->add_option("take", options.take, "The take")->required();
  for (const take::EditOptionHelp& operation : take::edit_option_help()) {
    edit->add_option("--" + std::string(operation.name), typed, std::string(operation.meaning))
        ->type_name(std::string(operation.value))
        ->allow_extra_args(false)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  }
  edit->add_flag("--versions", options.lists_versions,
                 "List the versions that were kept when the take was saved, and end")
      ->group(versions_group);
  edit->add_option("--back-to", options.back_to,
                   "The version of that number in the list changes places with the take, and end")
      ->check(CLI::PositiveNumber)
      ->group(versions_group);
  edit->footer(
      "Examples:\n"
      "  lowstride edit trio.take --set-note b12:3=Eb2 --confirm b1..b13\n"
      "  lowstride edit trio.take --set-chord b5=Bb7 --passage \"bridge=b17..b25\"\n"
      "  lowstride edit trio.take --back-to 1\n"
      "Operations run in the order typed, and each may be given several times.\n" +
      std::string(time_help));
  return edit;
}

}  // namespace lowstride::cli
