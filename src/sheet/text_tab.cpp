#include "src/sheet/text_tab.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/remarks.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_system.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet {
namespace {

constexpr int narrowest_width = 40;

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
  if (layout.swing_ratio) facts.push_back("swing " + swing_text(*layout.swing_ratio));
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

std::string legend(const take::Take& take, const SheetLayout& layout, const UsedSigns& used) {
  std::vector<std::string> signs;
  if (used.has_dead) signs.emplace_back("x dead note");
  if (used.has_tie) signs.emplace_back("( ) held over");
  if (used.has_joint) signs.emplace_back("h hammered on, p pulled off, s slid to");
  if (used.has_doubt) signs.emplace_back("? in doubt");
  if (used.has_repeat) signs.emplace_back("o between bar lines: repeat; 1 (5): bar 5 is as bar 1");
  std::string text;
  if (!signs.empty()) text += fmt::format("{}\n", fmt::join(signs, "   "));
  if (used.has_swung_pair) {
    text += fmt::format("Swung: the two halves of a beat (1 &) are played long and short, {}.\n",
                        swing_text(*layout.swing_ratio));
  }
  if (used.has_triplet) text += "Triplets are counted 1 t l (one trip-let).\n";
  if (!used.roles.empty()) {
    std::vector<std::string> roles;
    for (const theory::Role role : used.roles) {
      roles.push_back(role_sign(role) + " " + std::string(theory::role_text(role)));
    }
    text += fmt::format("Under the counts: {}.\n", fmt::join(roles, ", "));
  }
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
  if (layout.stabs_left_out > 0) {
    text += fmt::format("{} stabs find no place in the bars and are left out.\n",
                        layout.stabs_left_out);
  }
  return text;
}

/// The remarks about the bars of a system, under it; a blank line after the last.
std::string remark_lines(const std::vector<SheetRemark>& remarks, const TextSystem& system,
                         int width_columns) {
  std::string text;
  for (const SheetRemark& remark : remarks) {
    if (remark.bar_index < system.first_bar ||
        remark.bar_index >= system.first_bar + system.bar_count) {
      continue;
    }
    const auto lines = broken_into_lines(remark_line(remark), [&](const std::string& line) {
      return column_count(line) + 5 <= width_columns;
    });
    for (std::size_t i = 0; i < lines.size(); ++i) {
      text += (i == 0 ? "   " : "     ") + lines[i] + "\n";
    }
  }
  return text.empty() ? text : text + "\n";
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
    SystemWriter writer(
        take, layout,
        options.has_roles ? roles_of(take) : std::vector<std::optional<theory::NoteRole>>());
    const auto systems = plan_systems(layout.bars, writer.label_columns(),
                                      std::max(narrowest_width, options.width_columns));
    const auto remarks = remarks_in(take, layout);
    for (const TextSystem& system : systems) {
      text += writer.write(system) + "\n";
      text += remark_lines(remarks, system, std::max(narrowest_width, options.width_columns));
    }
    const std::string explained = legend(take, layout, writer.used());
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
