#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/comparison.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/take/harmony.hpp"
#include "src/take/proposals.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet {
namespace {

std::string_view kind_text(NoteDifferenceKind kind) {
  constexpr std::array<std::string_view, 7> texts{"missed", "extra", "octave",         "pitch",
                                                  "time",   "dead",  "string and fret"};
  return texts[static_cast<std::size_t>(kind)];
}

struct Line {
  double seconds = 0.0;
  std::string place;
  std::string what;
  std::string here = "-";
  std::string there = "-";
};

class Writer {
 public:
  Writer(const Comparison& comparison, const take::Take& mine, const take::Take& other)
      : comparison_(comparison), mine_(mine), other_(other) {}

  [[nodiscard]] std::string table(const ComparedNames& names) {
    for (const NoteDifference& difference : comparison_.notes) add(difference);
    for (const ChordDifference& difference : comparison_.chords) add(difference);
    for (const BeatDifference& difference : comparison_.beats) add(difference);
    if (lines_.empty()) return "No differences.\n";
    std::ranges::stable_sort(lines_, {}, &Line::seconds);
    lines_.insert(lines_.begin(), {0.0, "place", "what", names.mine, names.other});
    std::array<int, 3> widths{};
    for (const Line& line : lines_) {
      widths[0] = std::max(widths[0], column_count(line.place));
      widths[1] = std::max(widths[1], column_count(line.what));
      widths[2] = std::max(widths[2], column_count(line.here));
    }
    std::string text;
    for (const Line& line : lines_) {
      text += padded(line.place, widths[0]) + padded(line.what, widths[1]) +
              padded(line.here, widths[2]) + line.there + "\n";
    }
    return text;
  }

 private:
  [[nodiscard]] static std::string padded(const std::string& text, int width) {
    return text + std::string(static_cast<std::size_t>(width - column_count(text) + 2), ' ');
  }
  [[nodiscard]] static double seconds_of(const take::Take& take, std::int64_t samples) {
    return take::to_seconds(samples, take.time_base_hz);
  }
  /// Where a time lies in the grid of the take; in that of the other where the take has none.
  [[nodiscard]] std::string place(double seconds) const {
    const take::Take& take = mine_.beats.size() < 2 && other_.beats.size() > 1 ? other_ : mine_;
    return place_text(take, take::to_samples(seconds, take.time_base_hz));
  }
  [[nodiscard]] static std::string note(const take::Take& take, std::size_t index,
                                        NoteDifferenceKind kind) {
    const take::Note& one = take.notes[index];
    std::string text = one.is_dead ? "x" : theory::pitch_text(one.midi, key_of(take));
    if (one.position) {
      const auto names = neck::string_names(take.neck);
      const auto string = static_cast<std::size_t>(one.position->string_number - 1);
      const std::string name =
          string < names.size() ? names[string] : std::to_string(one.position->string_number);
      text += fmt::format(" ({}{})", name, one.position->fret);
    }
    if (kind == NoteDifferenceKind::time) {
      text += " at " + take::format_time(one.onset_samples, take);
    }
    return text;
  }
  void add(const NoteDifference& difference) {
    Line line;
    line.what = kind_text(difference.kind);
    line.seconds = difference.mine
                       ? seconds_of(mine_, mine_.notes[*difference.mine].onset_samples)
                       : seconds_of(other_, other_.notes[*difference.other].onset_samples);
    line.place = place(line.seconds);
    if (difference.mine) line.here = note(mine_, *difference.mine, difference.kind);
    if (difference.other) line.there = note(other_, *difference.other, difference.kind);
    lines_.push_back(std::move(line));
  }
  void add(const ChordDifference& difference) {
    Line line;
    line.seconds = difference.begin_seconds;
    line.place = place(line.seconds);
    line.what = "chord";
    line.here = difference.mine ? chord_name(mine_, mine_.chords[*difference.mine]) : "N.C.";
    line.there = difference.other ? chord_name(other_, other_.chords[*difference.other]) : "N.C.";
    lines_.push_back(std::move(line));
  }
  [[nodiscard]] static std::string beat(const take::Beat& beat) {
    return fmt::format("b{}:{}", beat.bar, beat.beat);
  }
  void add(const BeatDifference& difference) {
    Line line;
    line.seconds = difference.mine
                       ? seconds_of(mine_, mine_.beats[*difference.mine].time_samples)
                       : seconds_of(other_, other_.beats[*difference.other].time_samples);
    // A beat that the take does not have has its place in the other's count.
    line.place = difference.mine ? place(line.seconds) : beat(other_.beats[*difference.other]);
    const std::string_view what = difference.kind == BeatDifferenceKind::missed  ? "beat missed"
                                  : difference.kind == BeatDifferenceKind::extra ? "beat extra"
                                                                                 : "beat count";
    line.what = difference.beat_count == 1 ? std::string(what)
                                           : fmt::format("{} x {}", what, difference.beat_count);
    if (difference.mine) line.here = beat(mine_.beats[*difference.mine]);
    if (difference.other) line.there = beat(other_.beats[*difference.other]);
    lines_.push_back(std::move(line));
  }

  const Comparison& comparison_;
  const take::Take& mine_;
  const take::Take& other_;
  std::vector<Line> lines_;
};

std::string counts(const Comparison& comparison, const take::Take& mine, const take::Take& other) {
  std::string text = fmt::format("Notes     {} here, {} there, {} alike", mine.notes.size(),
                                 other.notes.size(), comparison.alike_count);
  constexpr std::array<NoteDifferenceKind, 7> kinds{
      NoteDifferenceKind::missed,         NoteDifferenceKind::extra, NoteDifferenceKind::octave,
      NoteDifferenceKind::pitch,          NoteDifferenceKind::time,  NoteDifferenceKind::dead,
      NoteDifferenceKind::string_and_fret};
  for (const NoteDifferenceKind kind : kinds) {
    const auto count = std::ranges::count(comparison.notes, kind, &NoteDifference::kind);
    if (count > 0) text += fmt::format(", {} {}", count, kind_text(kind));
  }
  return text + "\n";
}

std::string scores_text(const ComparisonScores& scores) {
  const auto match = [](const MatchScore& score) {
    return fmt::format("F {:.3f}, precision {:.3f}, recall {:.3f}\n", score.f1, score.precision,
                       score.recall);
  };
  const auto share = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.3f}", *value) : std::string("-");
  };
  std::string text = "Scores    " + match(scores.notes);
  text += "with ends " + match(scores.notes_with_ends);
  if (scores.beat_f) {
    text += fmt::format("Beats     F {}, first beats F {}\n", share(scores.beat_f),
                        share(scores.downbeat_f));
  }
  if (scores.chord_root) {
    text +=
        fmt::format("Chords    root {}, major or minor {}, sevenths {}\n", share(scores.chord_root),
                    share(scores.chord_majmin), share(scores.chord_sevenths));
  }
  return text;
}

}  // namespace

std::string render_comparison(const Comparison& comparison, const take::Take& mine,
                              const take::Take& other, const ComparedNames& names,
                              bool has_differences) {
  std::string text;
  if (has_differences) text += Writer(comparison, mine, other).table(names) + "\n";
  return text + counts(comparison, mine, other) + scores_text(comparison.scores);
}

}  // namespace lowstride::sheet
