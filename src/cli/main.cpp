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
#include "src/cli/man_page.hpp"
#include "src/cli/version.hpp"
#include "src/take/commands.hpp"

namespace {

using lowstride::cli::ExitCode;

constexpr const char* time_help =
    "Times: seconds (72.5), minutes (1:12.500), or bars of a take (b12 or b12:3).";

void add_lift(CLI::App& app, lowstride::cli::LiftOptions& options) {
  CLI::App* lift = app.add_subcommand(
      "lift", "Take a line down from a recording: save the take, print the tab and its doubts");
  lift->add_option("recording", options.recordings,
                   "The recording: WAV, FLAC, MP3, m4a, mp4 …; or several, or a folder of them")
      ->required();
  lift->add_option("--voice", options.voice,
                   "What was recorded: bass, or guitar (one guitar playing bass and chords); by "
                   "its sound when left out")
      ->check(CLI::IsMember({"bass", "guitar"}));
  lift->add_option("--instrument", options.instrument,
                   "Whose hand will play: bass, bass5, bass6, guitar, …");
  lift->add_option("--tuning", options.tuning,
                   "Open strings from the lowest, as sounding pitches: \"E1 A1 D2 G2\"");
  lift->add_option("--capo", options.capo, "Fret of the capo")->check(CLI::Range(0, 12));
  lift->add_option("--octave", options.octave,
                   "Octaves to move the line by for the neck: auto, 0, +1, -1 …");
  lift->add_option("--tempo", options.tempo_bpm, "Tempo in beats a minute, where you know it")
      ->check(CLI::Range(30.0, 400.0));
  lift->add_option("--meter", options.meter, "4/4 or 3/4")->check(CLI::IsMember({"4/4", "3/4"}));
  lift->add_option("--first-bar", options.first_bar, "Time of the one of bar 1");
  lift->add_option("--key", options.key, "Key: C, Bb, F#m …");
  lift->add_option("--chords", options.chords,
                   "A chart (| F7 | Bb7 | F7 | % |, once round) or lines of start, end, label")
      ->check(CLI::ExistingFile);
  lift->add_option("--from", options.from, "Begin here");
  lift->add_option("--to", options.to, "End here");
  lift->add_option("-o,--output", options.output,
                   "The take to write (default: beside the recording); a folder for several");
  lift->add_option("--jobs", options.jobs,
                   "Of several, how many at a time (default: as many as there are cores)")
      ->check(CLI::Range(1, 256));
  lift->add_flag("--again", options.is_again,
                 "Of several, also those whose take is there and whose sound is unchanged");
  lift->add_option("--width", options.width, "Columns of the tab (default: the terminal's)")
      ->check(CLI::Range(40, 1000));
  lift->footer(
      "Examples:\n"
      "  lowstride lift rehearsal.m4a\n"
      "  lowstride lift solo-guitar.wav --voice guitar --instrument guitar\n"
      "  lowstride lift trio.flac --tempo 132 --key G --chords chart.txt -o trio.take\n"
      "  lowstride lift rehearsals --jobs 4 -o takes\n"
      "What you know (--tempo … --chords) becomes confirmed. Lifting again keeps whatever is "
      "confirmed.\n" +
      std::string(time_help));
}

void add_stretch(CLI::App& command, lowstride::cli::StretchOptionTexts& texts) {
  command.add_option("--from", texts.from, "Begin here");
  command.add_option("--to", texts.to, "End here");
  command.add_option("--passage", texts.passage, "A named passage of the take");
}

/// What `slow` and `play` have in common: the sound beside and of the recording.
template <typename Options>
void add_sound(CLI::App& command, Options& options) {
  command.add_option("--semitones", options.semitones, "Move the pitch, -12 to 12")
      ->check(CLI::Range(-12.0, 12.0));
  command.add_option("--cents", options.cents, "Move the pitch by hundredths of a semitone")
      ->check(CLI::Range(-1200.0, 1200.0));
  add_stretch(command, options.stretch);
  command
      .add_option("--count-in", options.count_in_bars,
                  "Bars of clicks before, at the tempo and feel of the first bar (a take)")
      ->check(CLI::Range(0, 8));
  command.add_option("--click", options.click, "Click on all beats, on 2and4, or on 1 (a take)")
      ->check(CLI::IsMember({"all", "2and4", "1"}));
  command
      .add_option("--bass", options.bass,
                  "up: low voice brought forward; only: alone; minus: taken out")
      ->check(CLI::IsMember({"up", "only", "minus"}));
  command.add_flag("--octave-up", options.octave_up,
                   "Low voice an octave higher, for small speakers");
  command
      .add_option("--with", options.with,
                  "Also play line, chords, click, made from the take: line,chords")
      ->delimiter(',')
      ->allow_extra_args(false)
      ->check(CLI::IsMember({"line", "chords", "click"}));
  command.add_flag("--no-recording", options.without_recording,
                   "Leave the recording out: only what --with names");
}

constexpr const char* loudness_help =
    "Start quietly: low notes in headphones are louder than they seem, and an hour of loops is "
    "long; take breaks.\n";

void add_slow(CLI::App& app, lowstride::cli::SlowOptions& options) {
  CLI::App* slow = app.add_subcommand(
      "slow", "Write practice audio: slower or faster at its own pitch, with count-in and click");
  slow->add_option("input", options.input, "A recording, or a take")->required();
  CLI::Option_group* pace = slow->add_option_group("pace", "One of these:");
  pace->add_option("--speed", options.speed, "20% to 150% of the recording's own");
  pace->add_option("--tempo", options.tempo_bpm, "Beats a minute to be heard (a take)")
      ->check(CLI::Range(10.0, 600.0));
  pace->add_option("--ramp", options.ramp, "Rising speed, as 50%..100%:5%: once at each step");
  pace->require_option(1);
  slow->add_option("--repeat", options.repeat, "Times through, at each speed")
      ->check(CLI::Range(1, 100));
  add_sound(*slow, options);
  slow->add_option("--level", options.level,
                   "Instead of the recording, the take's level 1 (roots) to 6 (whole line) on made "
                   "tones, with chords and click unless --with says otherwise; any --tempo");
  slow->add_option("--fade-in", options.fade_in_seconds,
                   "Seconds over which the first sound rises to its level (default: 1 for practice "
                   "audio, 0 where a recording is only slowed)")
      ->check(CLI::Range(0.0, 10.0));
  slow->add_option("--bits", options.bits, "Of a sample in WAV and FLAC: 16 or 24")
      ->check(CLI::IsMember({16, 24}));
  slow->add_option("--title", options.title, "Title in the file's tags");
  slow->add_option("-o,--output", options.output, "OUT.wav, .flac, .ogg or .mp3")->required();
  slow->footer(
      "Examples:\n"
      "  lowstride slow trio.flac --speed 50% -o trio-half.wav\n"
      "  lowstride slow trio.take --speed 60% --from b9 --to b13 -o bars-9-12.ogg\n"
      "  lowstride slow trio.take --passage bridge --ramp 50%..100%:10% --count-in 1 --click 2and4 "
      "-o bridge.mp3\n"
      "  lowstride slow trio.take --tempo 100 --bass minus --count-in 2 -o play-along.mp3\n"
      "  lowstride slow trio.take --level 2 --tempo 90 --count-in 1 -o trio-roots.mp3\n"
      "  lowstride slow trio.take --speed 70% --no-recording --with line,chords,click -o "
      "line.ogg\n" +
      std::string(loudness_help) + std::string(time_help));
}

void add_play(CLI::App& app, lowstride::cli::PlayOptions& options) {
  CLI::App* play =
      app.add_subcommand("play", "Play a recording or a take: slowly, round a loop, with keys");
  play->add_option("input", options.input, "A recording, or a take");
  play->add_option("--speed", options.speed, "20% to 150% of the recording's own");
  play->add_option("--loop", options.loop, "Round and round: a passage's name, or FROM..TO");
  add_sound(*play, options);
  play->add_option("--device", options.device, "Sound device by its name");
  play->add_flag("--devices", options.lists_devices, "List the sound devices and end");
  play->add_option("--buffer", options.block_samples,
                   "Samples a sound block; more where it crackles")
      ->check(CLI::IsMember({256, 512, 1024, 2048}));
  play->add_flag("--silent", options.is_silent, "Run without a sound device, at the same pace");
  play->callback([&options] {
    if (options.input.empty() && !options.lists_devices) throw CLI::RequiredError("input");
  });
  play->footer(
      "Examples:\n"
      "  lowstride play trio.flac --speed 50% --loop 1:02..1:11\n"
      "  lowstride play trio.take --loop bridge --speed 60% --count-in 1 --bass up\n"
      "  lowstride play trio.take --no-recording --with line,chords,click\n"
      "Keys: space play and stop, arrows speed and bars, [ ] loop, r l h c what is heard, b low "
      "voice, ? all keys, q end.\n" +
      std::string(loudness_help) + std::string(time_help));
}

void add_export(CLI::App& app, lowstride::cli::ExportOptions& options) {
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
  command->add_option("--width", options.width, "Columns of the tab")->check(CLI::Range(40, 1000));
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

void add_finger(CLI::App& app, lowstride::cli::FingerOptions& options) {
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
  finger->add_option("--instrument", options.instrument, "Another neck: bass, bass5, guitar, …");
  finger->add_option("--tuning", options.tuning,
                     "Open strings from the lowest, as sounding pitches: \"E1 A1 D2 G2\"");
  finger->add_option("--capo", options.capo, "Fret of the capo, 0 for none")
      ->check(CLI::Range(0, 12));
  finger->add_option("--frets", options.fret_count, "Number of frets")->check(CLI::Range(1, 36));
  finger->add_option("--scale-mm", options.scale_mm, "Length of the strings, nut to bridge")
      ->check(CLI::Range(200.0, 1500.0));
  finger->add_option("--octave", options.octave,
                     "Octaves to move the line by for the neck: auto, 0, +1, -1 …");
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
  finger->add_option("--width", options.width, "Columns of the tab")->check(CLI::Range(40, 1000));
  finger->footer(
      "Examples:\n"
      "  lowstride finger trio.take --position open\n"
      "  lowstride finger trio.take --instrument guitar --capo 2 -o trio-guitar.take\n"
      "  lowstride finger trio.take --pin b3:2=3:7 --alternatives b3..b4\n"
      "What the hand likes stays with the take, so that later edits are fingered alike. Stretch no "
      "further than is easy; when a hand hurts, stop, and ask somebody licensed to advise.\n" +
      std::string(time_help));
}

void add_arrange(CLI::App& app, lowstride::cli::ArrangeOptions& options) {
  CLI::App* arrange = app.add_subcommand(
      "arrange", "Write bass line and chords of a take for one guitar that plays both");
  arrange->add_option("take", options.take, "The take")->required();
  arrange
      ->add_option("--style", options.style,
                   "strum (after the bass), root-fifth, boogie, walking (the line with shells on "
                   "two and four) or motif (the line under held chords)")
      ->capture_default_str();
  arrange->add_option("--instrument", options.instrument, "The neck: guitar, guitar-drop-d, …");
  arrange->add_option("--tuning", options.tuning,
                      "Open strings from the lowest, as sounding pitches: \"D2 A2 D3 G3 B3 E4\"");
  arrange->add_option("--capo", options.capo, "Fret of the capo")->check(CLI::Range(0, 12));
  arrange
      ->add_option("--tempo", options.tempo_bpm,
                   "A steady tempo instead of the recording's own beats")
      ->check(CLI::Range(20.0, 400.0));
  arrange->add_option("-o,--output", options.output, "The take to write (else only printed)");
  arrange->add_option("--width", options.width, "Columns of the tab")->check(CLI::Range(40, 1000));
  arrange->footer(
      "Examples:\n"
      "  lowstride arrange trio.take --style walking -o trio-guitar.take\n"
      "  lowstride arrange trio.take --style boogie --instrument guitar-drop-d --tempo 100 -o "
      "b.take\n"
      "Every grip is one that four fingers can hold; what none can is left out and said.\n");
}

void add_read(CLI::App& app, lowstride::cli::ReadOptions& options) {
  CLI::App* read = app.add_subcommand(
      "read", "Read a written line (MIDI file, MusicXML, tables) as a take without a recording");
  read->add_option("file", options.file,
                   "A Standard MIDI File, MusicXML, or the stem of tables (NAME.notes.tsv …)")
      ->required();
  read->add_option("--instrument", options.instrument,
                   "Whose hand will play: bass, bass5, bass6, guitar, …");
  read->add_option("--tuning", options.tuning,
                   "Open strings from the lowest, as sounding pitches: \"E1 A1 D2 G2\"");
  read->add_option("--capo", options.capo, "Fret of the capo")->check(CLI::Range(0, 12));
  read->add_option("--part", options.part, "Track or part, counted from 1 (default: the low line)")
      ->check(CLI::Range(1, 1000));
  read->add_option("-o,--output", options.output, "The take to write (default: beside the file)");
  read->add_option("--width", options.width, "Columns of the tab (default: the terminal's)")
      ->check(CLI::Range(40, 1000));
  read->footer(
      "Examples:\n"
      "  lowstride read lesson-3.mid\n"
      "  lowstride read etude.musicxml --instrument bass5 -o etude.take\n"
      "What is read counts as confirmed. A string and fret that the file gives is kept.\n");
}

void add_compare(CLI::App& app, lowstride::cli::CompareOptions& options) {
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

/// `typed` only gives the options somewhere to leave their texts; operations_in_order() reads them.
CLI::App* add_edit(CLI::App& app, lowstride::cli::EditOptions& options,
                   std::vector<std::string>& typed) {
  CLI::App* edit = app.add_subcommand(
      "edit", "Change a take: confirm, correct, remove, name; all of a call or nothing");
  edit->add_option("take", options.take, "The take")->required();
  for (const lowstride::take::EditOptionHelp& operation : lowstride::take::edit_option_help()) {
    edit->add_option("--" + std::string(operation.name), typed, std::string(operation.meaning))
        ->type_name(std::string(operation.value))
        ->allow_extra_args(false)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  }
  edit->footer(
      "Examples:\n"
      "  lowstride edit trio.take --set-note b12:3=Eb2 --confirm b1..b13\n"
      "  lowstride edit trio.take --set-chord b5=Bb7 --passage \"bridge=b17..b25\"\n"
      "Operations run in the order typed, and each may be given several times.\n" +
      std::string(time_help));
  return edit;
}

void add_list(CLI::App& app, lowstride::cli::ListOptions& options) {
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

void add_drill(CLI::App& app, lowstride::cli::DrillOptions& options) {
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

void add_desk(CLI::App& app, lowstride::cli::DeskOptions& options) {
  CLI::App* desk = app.add_subcommand("desk", "Open the window in which a take is worked on");
  desk->add_option("input", options.input, "A take or a recording");
  desk->footer(
      "Examples:\n"
      "  lowstride desk\n"
      "  lowstride desk trio.take\n"
      "  lowstride desk rehearsal.m4a\n");
}

/// The operations of `edit` with their values, as they stood on the line.
std::vector<std::pair<std::string, std::string>> operations_in_order(const CLI::App& edit) {
  std::vector<std::pair<std::string, std::string>> in_order;
  std::map<const CLI::Option*, std::size_t> used;
  for (const CLI::Option* option : edit.parse_order()) {
    if (option->get_positional()) continue;
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
