#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace lowstride::cli {

/// What was typed, one struct a command. Texts that need a grid or a file to be understood (times,
/// pitches, chords) are kept as typed; the command reads them.
struct LiftOptions {
  std::vector<std::filesystem::path> recordings;  // or folders of them
  std::optional<std::string> voice;               // bass, guitar
  std::optional<std::string> instrument;          // a named neck
  std::optional<std::string> tuning;              // "E1 A1 D2 G2"
  int capo = 0;
  std::string octave = "auto";  // auto, 0, +1, -1
  std::optional<double> tempo_bpm;
  std::optional<std::string> meter;      // 4/4, 3/4
  std::optional<std::string> first_bar;  // a time
  std::optional<std::string> key;
  std::filesystem::path chords;
  std::optional<std::string> from;
  std::optional<std::string> to;
  std::filesystem::path output;  // a take; a folder where several are lifted
  int jobs = 0;                  // processes at a time, of several; 0 = as many as there are cores
  bool is_again = false;         // of several: also those that are lifted already
  int width = 0;                 // columns of the tab; 0 = as wide as the terminal
};

/// Which part of a recording or take, as typed.
struct StretchOptionTexts {
  std::optional<std::string> from;
  std::optional<std::string> to;
  std::optional<std::string> passage;
};

struct SlowOptions {
  std::filesystem::path input;
  std::optional<std::string> speed;  // "50%" or "0.5"
  std::optional<double> tempo_bpm;
  std::optional<std::string> ramp;  // "50%..100%:5%"
  double semitones = 0.0;
  double cents = 0.0;
  StretchOptionTexts stretch;
  int count_in_bars = 0;
  int repeat = 1;
  std::optional<std::string> click;  // all, 2and4, 1
  std::optional<std::string> bass;   // up, only, minus
  bool octave_up = false;
  std::vector<std::string> with;  // line, chords, click
  bool without_recording = false;
  std::optional<int> level;  // 1..6, heard from made tones
  std::optional<double> fade_in_seconds;
  int bits = 16;
  std::string title;
  std::filesystem::path output;
};

struct PlayOptions {
  std::filesystem::path input;
  std::string speed = "100%";
  double semitones = 0.0;
  double cents = 0.0;
  StretchOptionTexts stretch;
  std::optional<std::string> loop;  // a passage, or FROM..TO
  int count_in_bars = 0;
  std::optional<std::string> click;
  std::optional<std::string> bass;
  bool octave_up = false;
  std::vector<std::string> with;
  bool without_recording = false;
  std::optional<std::string> device;
  int block_samples = 512;
  bool lists_devices = false;
  bool is_silent = false;  // plays to the clock, without a device
};

struct ExportOptions {
  std::filesystem::path take;
  std::string format;
  std::filesystem::path output;
  std::optional<std::string> passage;
  std::optional<std::string> bars;  // "5-12" or "5"
  std::string paper = "a4";         // a4, letter
  bool is_tab_only = false;
  bool is_written_out = false;        // no repeat signs
  bool is_quantised = false;          // midi
  bool is_steady = false;             // midi
  std::optional<std::string> levels;  // "2", "1,3,6" or "all"
  bool has_roles = false;
  int width = 0;
};

struct ReadOptions {
  std::filesystem::path file;  // MIDI, MusicXML, or tables
  std::optional<std::string> instrument;
  std::optional<std::string> tuning;
  int capo = 0;
  std::optional<int> part;
  std::filesystem::path output;
  int width = 0;
};

struct CompareOptions {
  std::filesystem::path take;
  std::filesystem::path other;    // a take, or a file or stem that src/notation reads
  std::optional<std::string> by;  // clock, bars; by what the two are when left out
  bool has_scores_only = false;
};

struct EditOptions {
  std::filesystem::path take;
  /// Option name without dashes and its value, in the order typed.
  std::vector<std::pair<std::string, std::string>> operations;
  bool lists_versions = false;
  std::optional<int> back_to;  // number of a version as they are listed
};

struct ListOptions {
  std::filesystem::path folder;
  std::string player = "player";  // whose drills are due
};

struct FingerOptions {
  std::filesystem::path take;
  std::optional<std::string> position;  // open, low, anywhere or the fret of the index finger
  bool prefer_open = false;
  std::optional<double> max_span_mm;
  std::optional<std::string> leave_out;  // numbers of strings: "1,2"
  std::optional<std::string> instrument;
  std::optional<std::string> tuning;
  std::optional<int> capo;
  std::optional<int> fret_count;
  std::optional<double> scale_mm;
  std::optional<std::string> octave;  // auto, 0, +1, -1
  std::vector<std::string> pins;      // T=STRING:FRET
  std::vector<std::string> unpins;
  std::optional<int> level;                 // 1..6: of the take, with an output of its own
  std::optional<std::string> alternatives;  // all, a place or a stretch
  std::filesystem::path output;             // empty: the take itself
  int width = 0;
};

struct ArrangeOptions {
  std::filesystem::path take;
  std::string style = "walking";
  std::optional<std::string> instrument;
  std::optional<std::string> tuning;
  int capo = 0;
  std::optional<double> tempo_bpm;
  std::filesystem::path output;  // empty: printed only
  int width = 0;
};

struct DrillOptions {
  std::vector<std::filesystem::path> takes;
  bool is_due = false;  // what is due from every take that was drilled before
  std::string player = "player";
  std::vector<std::string> kinds;  // note, role, change, chord, bar, play, which, passage
  std::optional<std::string> passage;
  double minutes = 15.0;
  int most_new = 12;
  bool is_silent = false;
  std::filesystem::path answers;     // a recording of what was played, in place of a microphone
  bool has_input = false;            // answers are played into the input
  std::optional<std::string> input;  // name of the input device
  std::filesystem::path csv;
  std::filesystem::path progress;  // .svg or .png
  bool fits_weights = false;
  bool shows_tuner = false;
  bool measures_latency = false;
};

struct DeskOptions {
  std::filesystem::path input;  // a take or a recording; may be empty
};

}  // namespace lowstride::cli
