#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <string_view>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/notation/line_builder.hpp"
#include "src/notation/read.hpp"
#include "src/take/proposals.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::notation {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view notes_ending = ".notes.tsv";
constexpr std::string_view chords_ending = ".chords.lab";
constexpr std::string_view beats_ending = ".beats.tsv";
constexpr std::string_view tuning_ending = ".tuning.txt";

std::vector<std::string_view> split(std::string_view text, std::string_view separators) {
  std::vector<std::string_view> parts;
  while (true) {
    const auto end = text.find_first_of(separators);
    parts.push_back(text.substr(0, end));
    if (end == std::string_view::npos) return parts;
    text.remove_prefix(end + 1);
  }
}

std::vector<std::string_view> lines_of(std::string_view text) {
  auto lines = split(text, "\n");
  for (std::string_view& line : lines) {
    if (line.ends_with('\r')) line.remove_suffix(1);
  }
  return lines;
}

std::optional<double> number(std::string_view text) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) {
    return std::nullopt;
  }
  return value;
}

/// Where a table is read, for sentences about it.
struct Place {
  fs::path path;
  std::size_t line = 0;

  [[nodiscard]] tl::unexpected<Error> wrong(std::string_view what) const {
    return fail(ErrorCode::damaged, fmt::format("'{}', line {}: {}; mend the line or leave it out.",
                                                path.string(), line, what));
  }
};

/// A time of a table as samples. Nothing when it is no time.
std::optional<std::int64_t> time_of(std::string_view text) {
  const auto seconds = number(text);
  constexpr double most_seconds = 24.0 * 3600.0;
  if (!seconds || *seconds < 0.0 || *seconds > most_seconds) return std::nullopt;
  return take::to_samples(*seconds, read_time_base_hz);
}

/// Cells of a row by the names of its heading.
class Columns {
 public:
  explicit Columns(std::string_view heading) {
    const auto names = split(heading, "\t");
    for (std::size_t i = 0; i < names.size(); ++i) places_.emplace(std::string(names[i]), i);
  }
  [[nodiscard]] bool has(const std::string& name) const { return places_.contains(name); }
  /// The cell, or "-" where the row or the table does not have it.
  [[nodiscard]] std::string_view cell(const std::vector<std::string_view>& row,
                                      const std::string& name) const {
    const auto place = places_.find(name);
    return place == places_.end() || place->second >= row.size() ? "-" : row[place->second];
  }

 private:
  std::map<std::string, std::size_t> places_;
};

Result<std::vector<ReadNote>> notes_from(std::string_view text, Place place) {
  std::vector<ReadNote> notes;
  const auto lines = lines_of(text);
  const Columns columns(lines.front());
  for (const char* name : {"onset_s", "offset_s", "midi"}) {
    if (!columns.has(name)) {
      return fail(ErrorCode::damaged,
                  fmt::format("'{}' has no column '{}' in its first line; give it the heading that "
                              "export --format tables writes.",
                              place.path.string(), name));
    }
  }
  for (std::size_t i = 1; i < lines.size(); ++i) {
    place.line = i + 1;
    if (lines[i].empty()) continue;
    const auto row = split(lines[i], "\t");
    const auto onset = time_of(columns.cell(row, "onset_s"));
    const auto offset = time_of(columns.cell(row, "offset_s"));
    const auto midi = number(columns.cell(row, "midi"));
    if (!onset || !offset || !midi || *midi < 0.0 || *midi > 127.0) {
      return place.wrong("a note needs an onset and an offset in seconds and a pitch of 0 to 127");
    }
    ReadNote note;
    note.onset_samples = *onset;
    note.offset_samples = std::max(*offset, *onset + 1);
    note.midi = static_cast<int>(std::lround(*midi));
    note.is_dead = columns.cell(row, "role") == "dead note";
    const auto string = number(columns.cell(row, "string"));
    const auto fret = number(columns.cell(row, "fret"));
    if (string && fret) {
      const auto finger = number(columns.cell(row, "finger")).value_or(0.0);
      note.position = neck::Position{static_cast<int>(std::clamp(*string, 0.0, 99.0)),
                                     static_cast<int>(std::clamp(*fret, 0.0, 99.0)),
                                     static_cast<int>(std::clamp(finger, 0.0, 4.0))};
    }
    const std::string_view state = columns.cell(row, "state");
    if (state == "proposed" || state == "doubt") {
      note.state = take::State::proposed;
      note.confidence = std::clamp(number(columns.cell(row, "confidence")).value_or(0.5), 0.0, 1.0);
    }
    notes.push_back(note);
    if (notes.size() > take::most_notes) return place.wrong("that is more notes than a take holds");
  }
  return notes;
}

Result<void> add_chords(std::string_view text, Place place, take::Take& take) {
  const auto lines = lines_of(text);
  std::int64_t reached = 0;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    place.line = i + 1;
    std::vector<std::string_view> words;
    for (const std::string_view word : split(lines[i], " \t")) {
      if (!word.empty()) words.push_back(word);
    }
    if (words.empty() || words.front().starts_with('#')) continue;
    const auto begin = words.size() == 3 ? time_of(words[0]) : std::nullopt;
    const auto end = words.size() == 3 ? time_of(words[1]) : std::nullopt;
    if (!begin || !end || *end <= *begin) {
      return place.wrong("a chord needs its start, a later end, and a label");
    }
    if (*begin < reached) return place.wrong("this chord begins before the one above it ends");
    const auto chord = theory::parse_chord(words[2]);
    if (!chord) return place.wrong(fmt::format("'{}' is no chord label", words[2]));
    reached = *end;
    take::ChordSpan& span = take.chords.emplace_back();
    span.begin_samples = *begin;
    span.end_samples = *end;
    span.chord = chord->chord;
    if (!chord->is_exact) span.written = take::to_plain_text(words[2]);
    span.state = take::State::confirmed;
    span.confidence = 1.0;
  }
  return {};
}

Result<void> add_beats(std::string_view text, Place place, take::Take& take) {
  const auto lines = lines_of(text);
  const Columns columns(lines.front());
  int most_beat = 0;
  for (std::size_t i = 1; i < lines.size(); ++i) {
    place.line = i + 1;
    if (lines[i].empty()) continue;
    const auto row = split(lines[i], "\t");
    const auto time = time_of(columns.cell(row, "time_s"));
    const auto bar = number(columns.cell(row, "bar"));
    const auto number_in_bar = number(columns.cell(row, "beat"));
    if (!time || !bar || !number_in_bar || std::abs(*bar) > 1e6 || *number_in_bar < 1.0 ||
        *number_in_bar > 64.0) {
      return place.wrong("a beat needs time_s, bar and beat");
    }
    if (!take.beats.empty() && *time <= take.beats.back().time_samples) {
      return place.wrong("this beat is not later than the one above it");
    }
    take::Beat& beat = take.beats.emplace_back();
    beat.time_samples = *time;
    beat.bar = static_cast<int>(*bar);
    beat.beat = static_cast<int>(*number_in_bar);
    beat.state = take::State::confirmed;
    beat.confidence = 1.0;
    if (beat.bar >= 1) most_beat = std::max(most_beat, beat.beat);
  }
  if (most_beat > 0) {
    take.beats_per_bar = std::clamp(most_beat, take::least_beats_per_bar, take::most_beats_per_bar);
    take.meter_state = take::State::confirmed;
  }
  return {};
}

/// The stem of a set of tables: of one of its files, of a folder that holds one, or as given.
Result<fs::path> stem_of(const fs::path& path) {
  const std::string text = path.string();
  for (const std::string_view ending : {notes_ending, chords_ending, beats_ending, tuning_ending}) {
    if (text.ends_with(ending)) return fs::path(text.substr(0, text.size() - ending.size()));
  }
  std::error_code error;
  if (!fs::is_directory(path, error)) return path;
  std::vector<fs::path> found;
  for (const auto& entry : fs::directory_iterator(path, error)) {
    const std::string name = entry.path().string();
    if (name.ends_with(notes_ending)) {
      found.emplace_back(name.substr(0, name.size() - notes_ending.size()));
    }
  }
  if (found.size() == 1) return found.front();
  return fail(
      ErrorCode::not_found,
      fmt::format("There {} in '{}'; name the tables that are meant.",
                  found.empty() ? "is no table of notes" : "are several tables of notes", text));
}

}  // namespace

Result<ReadTake> read_tables(const fs::path& path, const ReadOptions& options) {
  const auto stem = stem_of(path);
  if (!stem) return tl::unexpected(stem.error());
  ReadTake read;
  bool is_there = false;
  const auto contents = [&](std::string_view ending) -> Result<std::optional<std::string>> {
    const fs::path file = stem->string() + std::string(ending);
    std::error_code error;
    if (!fs::exists(file, error)) return std::nullopt;
    auto text = read_small_file(file, most_file_bytes);
    if (!text) return tl::unexpected(text.error());
    is_there = true;
    return std::optional(std::move(*text));
  };
  const auto place = [&](std::string_view ending) {
    return Place{stem->string() + std::string(ending), 0};
  };
  const auto notes_text = contents(notes_ending);
  if (!notes_text) return tl::unexpected(notes_text.error());
  const auto chords_text = contents(chords_ending);
  if (!chords_text) return tl::unexpected(chords_text.error());
  const auto beats_text = contents(beats_ending);
  if (!beats_text) return tl::unexpected(beats_text.error());
  const auto tuning_text = contents(tuning_ending);
  if (!tuning_text) return tl::unexpected(tuning_text.error());
  if (std::error_code error; !is_there && fs::is_regular_file(path, error)) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' is no MIDI file, MusicXML file or table; a recording is taken in "
                            "with lowstride lift, and a take can be worked on as it is.",
                            path.string()));
  }
  if (!is_there) {
    return fail(ErrorCode::not_found,
                fmt::format("There are no tables '{}{}' or their like; name a take, a MIDI file, a "
                            "MusicXML file, or the stem of tables.",
                            stem->string(), notes_ending));
  }
  if (*notes_text) {
    auto notes = notes_from(**notes_text, place(notes_ending));
    if (!notes) return tl::unexpected(notes.error());
    add_line(read, std::move(*notes), 0);
  }
  if (*chords_text) {
    if (const auto done = add_chords(**chords_text, place(chords_ending), read.take); !done) {
      return tl::unexpected(done.error());
    }
  }
  if (*beats_text) {
    if (const auto done = add_beats(**beats_text, place(beats_ending), read.take); !done) {
      return tl::unexpected(done.error());
    }
  }
  if (*tuning_text) {
    const auto words = lines_of(**tuning_text);
    const auto a4 = number(words.front());
    Place where = place(tuning_ending);
    where.line = 1;
    if (!a4 || *a4 < take::least_a4_hz || *a4 > take::most_a4_hz) {
      return where.wrong("the tuning is the frequency of A4 in Hz, 380 to 500");
    }
    read.take.a4_hz = *a4;
    read.take.tuning_state = take::State::confirmed;
  }
  read.take.title = stem->filename().string();
  settle_neck(read, options, std::nullopt);
  return finished(std::move(read), path);
}

}  // namespace lowstride::notation
