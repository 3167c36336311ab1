#include "src/cli/declare.hpp"

#include <string>

#include <CLI/CLI.hpp>

#include "src/cli/option_blocks.hpp"

namespace lowstride::cli {
namespace {

void add_stretch(CLI::App& command, StretchOptionTexts& texts) {
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

}  // namespace

void add_lift(CLI::App& app, LiftOptions& options) {
  CLI::App* lift = app.add_subcommand(
      "lift", "Take a line down from a recording: save the take, print the tab and its doubts");
  lift->add_option("recording", options.recordings,
                   "The recording: WAV, FLAC, MP3, m4a, mp4 …; or several, or a folder of them")
      ->required();
  lift->add_option("--voice", options.voice,
                   "What was recorded: bass, or guitar (one guitar playing bass and chords); by "
                   "its sound when left out")
      ->check(CLI::IsMember({"bass", "guitar"}));
  add_neck(*lift, options, {"Whose hand will play: bass, bass5, bass6, guitar, …"});
  add_octave(*lift, options.octave);
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
  add_width(*lift, options.width, is_terminals_width);
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

void add_slow(CLI::App& app, SlowOptions& options) {
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
      std::string(loudness_help) + time_help);
}

void add_play(CLI::App& app, PlayOptions& options) {
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
      std::string(loudness_help) + time_help);
}

}  // namespace lowstride::cli
