#include "src/drill/progress.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "src/drill/traits.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::drill {
namespace {

std::string tempo_text(double bpm) {
  const int low = static_cast<int>(bpm / 40.0) * 40;
  return fmt::format("{} to {}", low, low + 39);
}

/// Tallies in the order of their sort key; halves by order of answering.
class Counter {
 public:
  void add(double order, const std::string& name, bool is_right, bool is_octave) {
    auto& entry = entries_[{order, name}];
    entry.push_back({is_right, is_octave});
  }
  [[nodiscard]] std::vector<Tally> tallies() const {
    std::vector<Tally> all;
    for (const auto& [key, answers] : entries_) {
      Tally tally;
      tally.name = key.second;
      for (std::size_t i = 0; i < answers.size(); ++i) {
        const bool is_early = i < answers.size() / 2;
        ++(is_early ? tally.early_count : tally.late_count);
        (is_early ? tally.early_right : tally.late_right) += answers[i].is_right ? 1 : 0;
        tally.octave_count += answers[i].is_octave ? 1 : 0;
      }
      all.push_back(tally);
    }
    return all;
  }

 private:
  struct One {
    bool is_right = false;
    bool is_octave = false;
  };
  std::map<std::pair<double, std::string>, std::vector<One>> entries_;
};

class Table {
 public:
  void add(double right_order, const std::string& right, double heard_order,
           const std::string& heard) {
    order_.emplace(std::pair{right_order, right});
    order_.emplace(std::pair{heard_order, heard});
    ++counts_[{right, heard}];
  }
  [[nodiscard]] Confusion confusion() const {
    Confusion table;
    for (const auto& [order, name] : order_) table.names.push_back(name);
    for (const std::string& right : table.names) {
      std::vector<int> row;
      for (const std::string& heard : table.names) {
        const auto found = counts_.find({right, heard});
        row.push_back(found == counts_.end() ? 0 : found->second);
      }
      table.counts.push_back(row);
    }
    return table;
  }

 private:
  std::set<std::pair<double, std::string>> order_;
  std::map<std::pair<std::string, std::string>, int> counts_;
};

double role_order(std::string_view name) {
  for (int i = 0; i <= static_cast<int>(theory::Role::dead_note); ++i) {
    if (theory::role_text(static_cast<theory::Role>(i)) == name) return i;
  }
  return 99.0;
}

/// "minor seventh" for a chord as charts write it; empty where it is none.
std::optional<dsp::ChordReading> chord_of(const std::string& name) {
  const auto parsed = theory::parse_chord(name);
  if (!parsed || !parsed->chord.root_pc) return std::nullopt;
  return parsed->chord;
}

/// The quality alone, as charts write it behind the root: "m7"; "major" for a plain triad.
std::string quality_text(dsp::ChordReading chord) {
  chord.root_pc = 0;
  chord.bass_pc = 0;
  const std::string name = theory::chart_label(chord).substr(1);
  return name.empty() ? "major" : name;
}

}  // namespace

Progress progress_of(std::span<const AnswerRecord> answers) {
  Progress progress;
  Counter kinds;
  Counter roles;
  Counter intervals;
  Counter registers;
  Counter tempos;
  Table role_table;
  Table note_table;
  Table chord_table;
  for (const AnswerRecord& answer : answers) {
    // Of what is not missed only another octave is less than wholly right.
    const bool is_kept = answer.grade != Grade::missed;
    const bool is_right = is_kept && answer.share_right >= 1.0;
    const bool is_off_octave = is_kept && !is_right;
    ++progress.answer_count;
    progress.right_count += is_right ? 1 : 0;
    kinds.add(static_cast<double>(answer.kind), std::string(kind_text(answer.kind)), is_right,
              is_off_octave);
    const double bpm = answer.tempo_bpm * answer.speed_ratio;
    if (bpm > 0.0) tempos.add(std::floor(bpm / 40.0), tempo_text(bpm), is_right, is_off_octave);
    if (answer.kind == Kind::name_the_role && answer.first_heard() != "nothing") {
      role_table.add(role_order(answer.right), answer.right, role_order(answer.first_heard()),
                     answer.first_heard());
    }
    if (answer.kind == Kind::name_the_chord) {
      const auto right = chord_of(answer.right);
      const auto heard = chord_of(answer.first_heard());
      if (right && heard) {
        chord_table.add(static_cast<double>(right->quality), quality_text(*right),
                        static_cast<double>(heard->quality), quality_text(*heard));
      }
    }
    for (const NoteRecord& note : answer.first_notes()) {
      if (!note.right_midi) continue;
      const bool has_tick = note.mark == Mark::tick;
      const bool is_octave = note.mark == Mark::octave;
      if (note.role) {
        roles.add(static_cast<double>(*note.role), std::string(theory::role_text(*note.role)),
                  has_tick, is_octave);
      }
      if (note.interval_semitones) {
        const int by = std::clamp(*note.interval_semitones, -13, 13);
        intervals.add(by, detail::interval_text(by), has_tick, is_octave);
      }
      registers.add(static_cast<double>(detail::register_index(*note.right_midi)),
                    std::string(detail::register_text(*note.right_midi)), has_tick, is_octave);
      if (note.heard_midi && answer.kind == Kind::find_the_note) {
        const int right_pc = *note.right_midi % 12;
        const int heard_pc = *note.heard_midi % 12;
        note_table.add(right_pc, theory::to_text(theory::spell(right_pc)), heard_pc,
                       theory::to_text(theory::spell(heard_pc)));
      }
    }
  }
  progress.by_kind = kinds.tallies();
  progress.by_role = roles.tallies();
  progress.by_interval = intervals.tallies();
  progress.by_register = registers.tallies();
  progress.by_tempo = tempos.tallies();
  progress.roles = role_table.confusion();
  progress.notes = note_table.confusion();
  progress.chords = chord_table.confusion();
  progress.troubles = troubles_of(answers);
  return progress;
}

std::string progress_text(const Progress& progress) {
  if (progress.answer_count == 0) return "Nothing was answered yet.\n";
  std::string text =
      fmt::format("{} answers, {} right.\n", progress.answer_count, progress.right_count);
  for (const Tally& tally : progress.by_kind) {
    text += fmt::format("  {:<18} {:3.0f} % of {}\n", tally.name, 100.0 * tally.share_right(),
                        tally.count());
  }
  for (const TroubleGroup& group : progress.troubles) {
    text += fmt::format("Keeps failing{}:\n", group.cause.empty() ? "" : ", " + group.cause);
    for (const Trouble& one : group.items) {
      text += fmt::format("  {}{}{}, wrong {} of the last 5 times\n", kind_text(one.kind),
                          one.place.empty() ? "" : ", ", one.place, one.wrong_count);
    }
  }
  return text;
}

}  // namespace lowstride::drill
