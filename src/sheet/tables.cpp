#include <algorithm>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/summary.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::sheet {
namespace {

double seconds(const take::Take& take, std::int64_t samples) {
  return static_cast<double>(samples) / static_cast<double>(take.time_base_hz);
}

std::string_view state_text(const take::Note& note) {
  if (note.state == take::State::confirmed) return "confirmed";
  return take::is_doubt(note) ? "doubt" : "proposed";
}

std::string notes_table(const take::Take& take) {
  std::string text = "onset_s\toffset_s\tmidi\tstring\tfret\tfinger\trole\tconfidence\tstate\n";
  const auto roles = roles_of(take);
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const take::Note& note = take.notes[i];
    text += fmt::format("{:.6f}\t{:.6f}\t{}\t", seconds(take, note.onset_samples),
                        seconds(take, note.offset_samples), note.midi);
    text += note.position ? fmt::format("{}\t{}\t{}", note.position->string_number,
                                        note.position->fret, note.position->finger)
                          : std::string("-\t-\t-");
    text += fmt::format("\t{}\t{:.3f}\t{}\n", roles[i] ? theory::role_text(roles[i]->role) : "-",
                        note.confidence, state_text(note));
  }
  return text;
}

std::string roles_table(const take::Take& take) {
  std::string text = "time_s\tplace\tnote\tchord\trole\treason\n";
  const auto key = key_of(take);
  const auto roles = roles_of(take);
  const auto chords = chords_under(take);
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const take::Note& note = take.notes[i];
    const dsp::ChordReading& chord = chords[i];
    const int midi = note.midi + 12 * take.octave_shift;
    const auto name = theory::spell_over_chord(midi, chord, key);
    text += fmt::format("{:.6f}\t{}\t{}\t{}\t{}\t{}\n", seconds(take, note.onset_samples),
                        place_text(take, note.onset_samples), theory::pitch_text(midi, name),
                        theory::chart_label(chord, key),
                        roles[i] ? theory::role_text(roles[i]->role) : "-",
                        roles[i] ? roles[i]->reason : "-");
  }
  return text;
}

std::string chords_table(const take::Take& take) {
  const auto key = key_of(take);
  std::string text;
  std::int64_t reached = 0;
  const auto add = [&](std::int64_t end, std::string_view label) {
    if (end <= reached) return;
    text += fmt::format("{:.6f}\t{:.6f}\t{}\n", seconds(take, reached), seconds(take, end), label);
    reached = end;
  };
  // The table has neither gaps nor overlaps: where no chord stands, N does.
  for (const take::ChordSpan& span : take.chords) {
    add(span.begin_samples, "N");
    add(span.end_samples, theory::harte_label(span.chord, key));
  }
  add(take.length_samples, "N");
  return text;
}

std::string beats_table(const take::Take& take) {
  std::string text = "time_s\tbar\tbeat\n";
  for (const take::Beat& beat : take.beats) {
    text += fmt::format("{:.6f}\t{}\t{}\n", seconds(take, beat.time_samples), beat.bar, beat.beat);
  }
  return text;
}

/// What the files are called in a folder: the recording's name without its last ending.
std::string name_of(const take::Take& take) {
  if (take.recording) {
    std::string stem = std::filesystem::path(take.recording->path).stem().string();
    if (!stem.empty()) return stem;
  }
  std::string name = take.title.empty() ? "take" : take.title;
  std::ranges::replace(name, '/', '-');
  return name;
}

}  // namespace

Tables tables(const take::Take& take) {
  return {notes_table(take), chords_table(take), beats_table(take),
          fmt::format("{:.3f}\n", take.a4_hz), roles_table(take)};
}

std::vector<std::filesystem::path> table_paths(const take::Take& take,
                                               const std::filesystem::path& stem) {
  std::error_code error;
  const bool is_folder = !stem.has_filename() || std::filesystem::is_directory(stem, error);
  const std::string base = (is_folder ? stem / name_of(take) : stem).string();
  return {base + ".notes.tsv", base + ".chords.lab", base + ".beats.tsv", base + ".tuning.txt",
          base + ".roles.tsv"};
}

Result<void> export_tables(const take::Take& take, const std::filesystem::path& stem) {
  const Tables all = tables(take);
  const auto paths = table_paths(take, stem);
  const std::vector<std::string_view> texts{all.notes_tsv, all.chords_lab, all.beats_tsv,
                                            all.tuning_txt, all.roles_tsv};
  // All are written in full before the first takes its name.
  std::vector<PendingFile> files;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    auto file = PendingFile::create(paths[i]);
    if (!file) return tl::unexpected(file.error());
    if (const auto outcome = file->write(texts[i]); !outcome)
      return tl::unexpected(outcome.error());
    files.push_back(std::move(*file));
  }
  for (PendingFile& file : files) {
    if (auto outcome = file.commit(); !outcome) return outcome;
  }
  return {};
}

}  // namespace lowstride::sheet
