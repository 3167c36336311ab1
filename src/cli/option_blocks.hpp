#pragma once

#include <string>

#include <CLI/CLI.hpp>

#include "src/cli/options.hpp"

// Options that several commands have, each block once. Beside main.cpp only the files that declare
// commands include this: CLI11 takes long to compile.
namespace lowstride::cli {

inline constexpr const char* time_help =
    "Times: seconds (72.5), minutes (1:12.500), or bars of a take (b12 or b12:3).";

inline constexpr const char* loudness_help =
    "Start quietly: low notes in headphones are louder than they seem, and an hour of loops is "
    "long; take breaks.\n";

/// What a command says of a neck.
struct NeckHelp {
  const char* instrument;
  const char* tuning_example = "E1 A1 D2 G2";
  const char* capo = "Fret of the capo";
};

/// Whose hand will play: --instrument, --tuning and --capo.
template <typename Options>
void add_neck(CLI::App& command, Options& options, const NeckHelp& help) {
  command.add_option("--instrument", options.instrument, help.instrument);
  command.add_option("--tuning", options.tuning,
                     "Open strings from the lowest, as sounding pitches: \"" +
                         std::string(help.tuning_example) + "\"");
  command.add_option("--capo", options.capo, help.capo)->check(CLI::Range(0, 12));
}

/// `octave`: a text, or an optional one.
template <typename Text>
void add_octave(CLI::App& command, Text& octave) {
  command.add_option("--octave", octave,
                     "Octaves to move the line by for the neck: auto, 0, +1, -1 …");
}

inline constexpr bool is_terminals_width = true;

/// Columns of the tab; as wide as the terminal when left out, where the command says so.
inline void add_width(CLI::App& command, int& width, bool is_terminals = false) {
  command
      .add_option(
          "--width", width,
          is_terminals ? "Columns of the tab (default: the terminal's)" : "Columns of the tab")
      ->check(CLI::Range(40, 1000));
}

}  // namespace lowstride::cli
