#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/sheet/pages.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// Every write is atomic. Errors of all: cannot_write, naming the file and the cure.

struct MidiOptions {
  bool is_steady = false;     // one tempo, the median; else the tempo map follows the recording
  bool is_quantised = false;  // notes where the sheet writes them, swung evenly; else as played
};

/// The bytes of a Standard MIDI File, format 1: tempo map on the beats, meter, key, chord names as
/// markers, passages as cue points, the line on one track, sounding pitches of the recording. As it
/// stands by default, times equal those of the recording within a millisecond. Dead notes are soft.
/// Of an arrangement for one guitar the stabs are on a track of their own, and the line sounds in
/// the octave of the strings. A take without a grid is written as played whatever the options say.
/// Source: Standard MIDI Files 1.0, MIDI Manufacturers Association, 1988.
[[nodiscard]] std::string midi_file(const take::Take& take, const MidiOptions& options = {});
[[nodiscard]] Result<void> export_midi(const take::Take& take, const std::filesystem::path& path,
                                       const MidiOptions& options = {});

/// The take as MusicXML 4.0, partwise: a staff (written an octave above the sound) and under it a
/// tab staff with string, fret and finger; chord names, ties, triplets, swing, the tempo of each
/// bar, passages as rehearsal marks. Bars add up exactly. Dead notes have an x for a head, notes in
/// doubt stand in parentheses; hammer-ons, pull-offs and slides are marked on both staves. The
/// stabs of an arrangement are chords in a voice of their own on each staff. Errors:
/// invalid_argument for a take without a grid. Source: MusicXML 4.0, W3C Community Group report,
/// 2021.
[[nodiscard]] Result<std::string> musicxml_file(const take::Take& take,
                                                const LayoutOptions& options = {});
[[nodiscard]] Result<void> export_musicxml(const take::Take& take,
                                           const std::filesystem::path& path,
                                           const LayoutOptions& options = {});

/// Printed pages as a PDF with its fonts in it and text that can be searched. Each section begins a
/// page. Byte for byte the same on one machine. Errors: those of lay_out_pages; cannot_write.
[[nodiscard]] Result<std::string> pdf_file(const std::vector<PageSection>& sections,
                                           const PageOptions& options = {});
[[nodiscard]] Result<void> export_pdf(const std::vector<PageSection>& sections,
                                      const std::filesystem::path& path,
                                      const PageOptions& options = {});

enum class PictureKind : std::uint8_t { svg, png };  // png: 150 dots an inch, for a preview

/// The same pages as pictures, a file each: PATH, or where there are several NAME-1.svg, NAME-2.svg
/// and so on. All are written in full before the first takes its name; gives their paths.
[[nodiscard]] Result<std::vector<std::filesystem::path>> export_pictures(
    const std::vector<PageSection>& sections, const std::filesystem::path& path, PictureKind kind,
    const PageOptions& options = {});

/// The tables as texts. They describe the sounding recording: seconds from its start, sounding
/// pitches on the tuned grid.
struct Tables {
  std::string notes_tsv;   // onset_s offset_s midi string fret finger role confidence state
  std::string chords_lab;  // start end label
  std::string beats_tsv;   // time_s bar beat
  std::string tuning_txt;  // A4 in Hz
  std::string roles_tsv;   // time_s place note chord role reason, the reason in words
};
[[nodiscard]] Tables tables(const take::Take& take);

/// Writes STEM.notes.tsv, STEM.chords.lab, STEM.beats.tsv, STEM.tuning.txt and STEM.roles.tsv;
/// `stem` may be a folder, and the files are then named after the recording (or the title). All are
/// written in full before the first takes its name.
[[nodiscard]] Result<void> export_tables(const take::Take& take, const std::filesystem::path& stem);
/// The paths that export_tables writes.
[[nodiscard]] std::vector<std::filesystem::path> table_paths(const take::Take& take,
                                                             const std::filesystem::path& stem);

}  // namespace lowstride::sheet
