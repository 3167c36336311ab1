#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/neck.hpp"
#include "src/take/take.hpp"

// The room of what is read in: lines that somebody wrote down, in a Standard MIDI File, in MusicXML
// or in tables, become takes without a recording. It
// is a room of its own because it points the other way than the sheets (file to take, not take to
// file), meets files from anywhere, and knows nothing of layout.

namespace lowstride::notation {

struct ReadOptions {
  /// Whose hand will play. Nothing: what the file says, or else the named neck that holds the line.
  std::optional<neck::Neck> neck = std::nullopt;
  /// Which track or part, counted from 1 as the file has them. Nothing: the low line (one whose
  /// instrument or name is a bass, else the one with the lowest notes).
  std::optional<int> part = std::nullopt;
};

/// A take without a recording (48,000 samples a second) and what there is to say about how it was
/// read, one sentence each: what the file held that a line cannot.
struct ReadTake {
  take::Take take;
  std::vector<std::string> remarks;
};

/// Largest file of notation that is read.
inline constexpr std::size_t most_file_bytes = std::size_t{64} << 20U;

/// A file by what is in it: a Standard MIDI File, MusicXML, or else tables (see read_tables).
/// Errors of all: not_found, unreadable, unsupported, damaged; one sentence naming the file and the
/// cure.
[[nodiscard]] Result<ReadTake> read_line(const std::filesystem::path& path,
                                         const ReadOptions& options = {});

/// A Standard MIDI File of format 0 or 1. Beats, bars, meter, tempo, key and chord names (markers)
/// come from the file; a note keeps its place within the beat, which is spread evenly where the
/// tempo changes inside it. One voice: where notes sound together the lowest stays, and one that
/// rings into the next is cut. Beats are quarters, or the meter's own unit where that is shorter
/// (6/8: six beats). Source: Standard MIDI Files 1.0, MIDI Manufacturers Association, 1988.
[[nodiscard]] Result<ReadTake> read_midi(const std::filesystem::path& path,
                                         const ReadOptions& options = {});

/// MusicXML, partwise, up to version 4.0, uncompressed. Repeats and endings are played out, ties
/// joined; string, fret and finger come from the tab where there is one; swing, tempo, key, chords,
/// rehearsal marks, tuning and capo are taken over. Where the tab has several voices the lowest is
/// the line and the others are the stabs of a guitar part. Grace notes are left out; of any other
/// chord the lowest note stays. No entity is ever resolved and no other file opened. Source:
/// MusicXML 4.0, W3C Community Group report, 2021.
[[nodiscard]] Result<ReadTake> read_musicxml(const std::filesystem::path& path,
                                             const ReadOptions& options = {});

/// The tables that `export --format tables` writes. `path`: the stem, one of the four files, or a
/// folder that holds one set. A set may lack files; columns of notes beyond onset_s, offset_s and
/// midi may lack too. States are kept; a line without states counts as confirmed.
[[nodiscard]] Result<ReadTake> read_tables(const std::filesystem::path& path,
                                           const ReadOptions& options = {});

}  // namespace lowstride::notation
