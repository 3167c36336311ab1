#include "src/sheet/text_tab.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/grid.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet {
namespace {

constexpr int narrowest_width = 40;

std::optional<theory::Key> key_of(const take::Take& take) {
  if (!take.key) return std::nullopt;
  return theory::Key{take.key->tonic_pc, take.key->is_minor};
}

/// Writes `text` into `row` from a column on, growing it with blanks.
void put(std::string& row, int column, std::string_view text) {
  const auto begin = static_cast<std::size_t>(std::max(0, column));
  if (row.size() < begin + text.size()) row.resize(begin + text.size(), ' ');
  row.replace(begin, text.size(), text);
}

std::string without_trailing_blanks(std::string row) {
  row.erase(row.find_last_not_of(' ') + 1);
  return row;
}

/// The spoken count of a place in a beat.
std::string count_text(int beat_number, int tatum, Division division) {
  if (tatum == 0) return fmt::format("{}", beat_number);
  const bool is_ternary = division == Division::thirds;
  switch (tatum) {
    case 3:
      return "e";
    case 4:
      return is_ternary ? "t" : ".";
    case 6:
      return "&";
    case 8:
      return is_ternary ? "l" : ".";
    case 9:
      return "a";
    default:
      return ".";
  }
}

/// What the sheet used and has to explain.
struct Used {
  bool has_dead = false;
  bool has_tie = false;
  bool has_triplet = false;
  bool has_swing = false;
  std::size_t doubtful_notes = 0;
  std::size_t doubtful_chords = 0;
  std::vector<std::size_t> off_neck;  // note indices
};

/// A column for each bar's start and each of its beats.
struct Columns {
  int bar_line = 0;
  std::vector<int> beats;
};

class SystemWriter {
 public:
  SystemWriter(const take::Take& take, const SheetLayout& layout, Used& used)
      : take_(take), layout_(layout), used_(used), names_(neck::string_names(take.neck)) {
    for (const std::string& name : names_) name_columns_ = std::max(name_columns_, name.size());
  }

  /// String name and bar line.
  [[nodiscard]] int label_columns() const noexcept { return static_cast<int>(name_columns_) + 1; }

  [[nodiscard]] std::string write(const TextSystem& system) {
    std::vector<Columns> columns;
    int end = label_columns() - 1;
    for (const auto& widths : system.beat_columns) {
      Columns bar{end, {}};
      int column = end + 2;
      for (const int width : widths) {
        bar.beats.push_back(column);
        column += width;
      }
      columns.push_back(bar);
      end = column;
    }

    std::string numbers;
    std::string chords;
    std::string counts;
    std::string doubts;
    std::vector<std::string> strings;
    for (const std::string& name : names_) {
      std::string row = name;
      row.resize(static_cast<std::size_t>(label_columns()) - 1, ' ');
      row.resize(static_cast<std::size_t>(end), '-');
      for (const Columns& bar : columns) put(row, bar.bar_line, "|");
      strings.push_back(row + "|");
    }
    for (std::size_t i = 0; i < system.bar_count; ++i) {
      const SheetBar& bar = layout_.bars[system.first_bar + i];
      const auto& widths = system.beat_columns[i];
      const auto column = [&](int tatums) {
        const auto beat = static_cast<std::size_t>(tatums / tatums_per_beat);
        return columns[i].beats[beat] + column_of(tatums % tatums_per_beat, widths[beat]);
      };
      const int next_line = i + 1 < columns.size() ? columns[i + 1].bar_line : end;
      put(numbers, columns[i].bar_line, bar_heading(bar, next_line - columns[i].bar_line - 1));
      for (const SheetChord& chord : bar.chords) {
        put(chords, column(chord.onset_tatums), chord_text(chord));
        if (chord.is_doubt) ++used_.doubtful_chords;
      }
      for (int beat = 0; beat < bar.beat_count; ++beat) {
        put(counts, column(beat * tatums_per_beat), fmt::format("{}", bar.first_beat + beat));
      }
      for (const SheetNote& note : bar.notes) {
        const int at = column(note.onset_tatums);
        const std::string text = note_text(note);
        put(strings[string_row(note)], at, text);
        note_use(note);
        if (!note.is_tied_from_previous) put_count(bar, note, at, counts);
        if (note.is_doubt && !note.is_tied_from_previous) put(doubts, at, "?");
      }
    }

    std::string text = without_trailing_blanks(numbers) + "\n";
    if (!chords.empty()) text += without_trailing_blanks(chords) + "\n";
    for (const std::string& row : strings) text += row + "\n";
    text += without_trailing_blanks(counts) + "\n";
    if (!doubts.empty()) text += without_trailing_blanks(doubts) + "\n";
    return text;
  }

 private:
  void put_count(const SheetBar& bar, const SheetNote& note, int column, std::string& counts) {
    const int beat = note.onset_tatums / tatums_per_beat;
    const int tatum = note.onset_tatums % tatums_per_beat;
    const Division division = bar.divisions[static_cast<std::size_t>(beat)];
    put(counts, column, count_text(bar.first_beat + beat, tatum, division));
    if (division == Division::thirds && tatum > 0) used_.has_triplet = true;
    if (division == Division::halves && tatum > 0 && layout_.is_swung) used_.has_swing = true;
  }

  void note_use(const SheetNote& note) {
    used_.has_tie = used_.has_tie || (note.is_tied_from_previous && !note.is_dead);
    if (note.is_tied_from_previous) return;
    used_.has_dead = used_.has_dead || note.is_dead;
    if (note.is_doubt) ++used_.doubtful_notes;
    if (!note.position && !note.is_dead) used_.off_neck.push_back(note.note_index);
  }

  /// Row of a note, from the highest string. One that the neck does not have stands on the string
  /// that it would lie beyond.
  [[nodiscard]] std::size_t string_row(const SheetNote& note) const {
    const auto last = names_.size() - 1;
    if (note.position) {
      return std::min(last,
                      static_cast<std::size_t>(std::max(1, note.position->string_number)) - 1);
    }
    return note.midi < neck::lowest_midi(take_.neck) || note.is_dead ? last : 0;
  }

  /// The bar's number, with the passages that begin in it where there is room.
  [[nodiscard]] std::string bar_heading(const SheetBar& bar, int room) const {
    std::string text = bar.number >= 1 ? fmt::format("{}", bar.number) : std::string();
    for (const take::Passage& passage : take_.passages) {
      const bool begins_here = passage.begin_samples < bar.beat_samples.back() - slack(bar) &&
                               passage.begin_samples >= bar.beat_samples.front() - slack(bar);
      if (!begins_here) continue;
      const std::string with_name = fmt::format("{} [{}]", text, passage.name);
      if (static_cast<int>(with_name.size()) <= room) text = with_name;
    }
    return text;
  }
  [[nodiscard]] static std::int64_t slack(const SheetBar& bar) {
    return (bar.beat_samples[1] - bar.beat_samples[0]) / 2;
  }

  const take::Take& take_;
  const SheetLayout& layout_;
  Used& used_;
  std::vector<std::string> names_;
  std::size_t name_columns_ = 1;
};

std::string swing_text(double ratio) { return fmt::format("{:.1f} : 1", ratio); }

std::string heading(const take::Take& take, const SheetLayout& layout) {
  std::string text;
  if (!take.title.empty()) text += take.title + "\n";
  if (!take.composer.empty()) text += take.composer + "\n";
  std::vector<std::string> facts;
  if (layout.tempo_bpm) {
    facts.push_back(fmt::format("{:.0f} bpm", *layout.tempo_bpm));
    facts.push_back(fmt::format("{}/4", take.beats_per_bar));
  }
  if (layout.is_swung) facts.push_back("swing " + swing_text(*take.swing_ratio));
  if (const auto key = key_of(take)) facts.push_back("key of " + theory::key_text(*key));
  if (!take.form.empty()) facts.push_back(take.form);
  if (!facts.empty()) text += fmt::format("{}\n", fmt::join(facts, ", "));

  std::vector<std::string> neck_facts;
  if (!neck::is_standard_tuning(take.neck)) {
    neck_facts.push_back("Tuning " + neck::tuning_text(take.neck) + " (low to high)");
  }
  if (take.neck.capo > 0) neck_facts.push_back(fmt::format("Capo at fret {}", take.neck.capo));
  if (take.octave_shift != 0) {
    neck_facts.push_back(fmt::format("Written {} octave{} higher than it sounds in the recording",
                                     take.octave_shift, take.octave_shift == 1 ? "" : "s"));
  }
  if (!neck_facts.empty()) text += fmt::format("{}.\n", fmt::join(neck_facts, ". "));
  return text;
}

std::string legend(const take::Take& take, const SheetLayout& layout, const Used& used) {
  std::vector<std::string> signs;
  if (used.has_dead) signs.emplace_back("x dead note");
  if (used.has_tie) signs.emplace_back("( ) held over");
  if (used.doubtful_notes + used.doubtful_chords > 0) signs.emplace_back("? in doubt");
  std::string text;
  if (!signs.empty()) text += fmt::format("{}\n", fmt::join(signs, "   "));
  if (used.has_swing) {
    text += fmt::format("Swung: the two halves of a beat (1 &) are played long and short, {}.\n",
                        swing_text(*take.swing_ratio));
  }
  if (used.has_triplet) text += "Triplets are counted 1 t l (one trip-let).\n";
  if (!used.off_neck.empty()) {
    std::vector<std::string> places;
    constexpr std::size_t most = 8;
    for (const std::size_t index : used.off_neck) {
      if (places.size() == most) break;
      const take::Note& note = take.notes[index];
      places.push_back(fmt::format(
          "{} at {}", theory::pitch_text(note.midi + 12 * take.octave_shift, key_of(take)),
          place_text(take, note.onset_samples)));
    }
    text += fmt::format("* not on this neck: {}{}\n", fmt::join(places, ", "),
                        used.off_neck.size() > most ? ", ..." : "");
  }
  if (!layout.crowded.empty()) {
    text += fmt::format("{} notes lie too close together to be written and are left out.\n",
                        layout.crowded.size());
  }
  return text;
}

/// Notes by time, for takes without a grid and notes outside it.
std::string note_list(const take::Take& take, const std::vector<std::size_t>& indices,
                      const LayoutOptions& options) {
  const auto names = neck::string_names(take.neck);
  std::string text = "      time  string  fret  note\n";
  bool has_doubt = false;
  for (const std::size_t index : indices) {
    const take::Note& note = take.notes[index];
    if (options.stretch && (note.onset_samples < options.stretch->begin_samples ||
                            note.onset_samples >= options.stretch->end_samples)) {
      continue;
    }
    std::string string_name = "-";
    std::string fret = "-";
    if (note.position) {
      string_name = names[static_cast<std::size_t>(note.position->string_number - 1)];
      fret = fmt::format("{}", note.position->fret);
    }
    if (note.is_dead) fret = "x";
    const bool is_doubt = take::is_doubt(note, options.doubt_threshold);
    has_doubt = has_doubt || is_doubt;
    text += fmt::format("{:>10}  {:<6}  {:>4}  {}{}\n", take::format_time(note.onset_samples, take),
                        string_name, fret,
                        theory::pitch_text(note.midi + 12 * take.octave_shift, key_of(take)),
                        is_doubt ? " ?" : "");
  }
  if (has_doubt) text += "\n? in doubt\n";
  return text;
}

}  // namespace

std::string render_text_tab(const take::Take& take, const TextTabOptions& options) {
  const SheetLayout layout = lay_out(take, options.layout);
  std::string text = options.has_heading ? heading(take, layout) : std::string();
  if (!text.empty()) text += "\n";
  if (take.notes.empty()) text += "No notes were found.\n";
  if (layout.tempo_bpm && layout.bars.empty() && !take.notes.empty()) {
    text += "There is nothing in the bars asked for.\n";
  }
  if (!layout.bars.empty()) {
    if (take.notes.empty()) text += "\n";
    Used used;
    SystemWriter writer(take, layout, used);
    const auto systems = plan_systems(layout.bars, writer.label_columns(),
                                      std::max(narrowest_width, options.width_columns));
    for (const TextSystem& system : systems) text += writer.write(system) + "\n";
    const std::string explained = legend(take, layout, used);
    if (explained.empty()) text.pop_back();
    text += explained;
  }
  if (!layout.unbarred.empty() && !(options.layout.first_bar || options.layout.last_bar)) {
    text += layout.tempo_bpm ? "\nOutside the grid:\n"
                             : "No beats were found, so the notes are listed by time.\n\n";
    text += note_list(take, layout.unbarred, options.layout);
  }
  return text;
}

}  // namespace lowstride::sheet
