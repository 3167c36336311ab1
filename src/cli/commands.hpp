#pragma once

#include "src/cli/console.hpp"
#include "src/cli/options.hpp"

namespace lowstride::cli {

/// `lowstride lift`: analyses a recording, saves the take, prints the tab and a summary; of several
/// recordings or a folder, a table of all.
[[nodiscard]] ExitCode run_lift(const LiftOptions& options);

/// `lowstride slow`: writes practice audio of a recording, a take or a passage.
[[nodiscard]] ExitCode run_slow(const SlowOptions& options);

/// `lowstride play`: plays a recording or a take, with keys where there is a terminal.
[[nodiscard]] ExitCode run_play(const PlayOptions& options);

/// `lowstride export`: writes a take as text tab, MIDI file or tables.
[[nodiscard]] ExitCode run_export(const ExportOptions& options);

/// `lowstride read`: opens a MIDI file, MusicXML or tables as a take without a recording. The
/// contract names no word for this; players "read" what is written, as they "lift" what sounds.
[[nodiscard]] ExitCode run_read(const ReadOptions& options);

/// `lowstride compare`: what differs between a take and another, note by note, and the scores.
[[nodiscard]] ExitCode run_compare(const CompareOptions& options);

/// `lowstride edit`: changes a take by the desk's own edits, all of them or none.
[[nodiscard]] ExitCode run_edit(const EditOptions& options);

/// `lowstride finger`: fingers a take anew for a hand and a neck, and prints its tab.
[[nodiscard]] ExitCode run_finger(const FingerOptions& options);

/// `lowstride arrange`: bass line and chords of a take for one guitar, as a take of its own.
[[nodiscard]] ExitCode run_arrange(const ArrangeOptions& options);

/// `lowstride drill`: ear training from takes in the terminal, and what goes with it: progress,
/// history, tuner.
[[nodiscard]] ExitCode run_drill(const DrillOptions& options);

/// `lowstride list`: every take in a folder with its length, doubts left, share confirmed and
/// drills due. A take that cannot be read is told and left out, and the command fails at the end.
[[nodiscard]] ExitCode run_list(const ListOptions& options);

/// `lowstride desk`: becomes the program `lowstride-desk`, which has the window. It is a program of
/// its own so that this one runs, and builds, where there is no screen and no OpenGL.
[[nodiscard]] ExitCode run_desk(const DeskOptions& options);

}  // namespace lowstride::cli
