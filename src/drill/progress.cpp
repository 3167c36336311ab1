#include "src/drill/progress.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "src/theory/pitch.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::drill {
namespace {

constexpr std::array<std::string_view, 13> interval_names{
    "unison", "half step",   "whole step",  "minor third",   "major third",   "fourth", "tritone",
    "fifth",  "minor sixth", "major sixth", "minor seventh", "major seventh", "octave"};

std::string interval_text(int semitones) {
  const auto size = static_cast<std::size_t>(std::abs(semitones));
  const std::string name =
      size < interval_names.size() ? std::string(interval_names[size]) : "over an octave";
  if (semitones == 0) return name;
  return name + (semitones > 0 ? " up" : " down");
}

/// Registers of a bass and of a guitar's low strings, half an octave or so each.
std::size_t register_index(int midi) { return midi < 33 ? 0 : midi < 40 ? 1 : midi < 48 ? 2 : 3; }

std::string_view register_text(int midi) {
  constexpr std::array<std::string_view, 4> texts{"below A1", "A1 to Eb2", "E2 to B2",
                                                  "C3 and above"};
  return texts[register_index(midi)];
}

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

/// `name` is shared by this share of the wrong ones.
struct Share {
  std::string name;
  std::size_t count = 0;
};

template <typename Name>
Share largest_share(std::span<const NoteRecord> notes, const Name& name_of) {
  std::map<std::string, std::size_t> counts;
  for (const NoteRecord& note : notes) {
    if (const std::string name = name_of(note); !name.empty()) ++counts[name];
  }
  Share best;
  for (const auto& [name, count] : counts) {
    if (count > best.count) best = {name, count};
  }
  return best;
}

std::vector<Trouble> troubles_of(std::span<const AnswerRecord> answers) {
  constexpr std::size_t looked_back = 5;
  constexpr int missed_enough = 3;
  std::map<std::string, std::vector<const AnswerRecord*>> by_item;
  for (const AnswerRecord& answer : answers) by_item[answer.item_key].push_back(&answer);
  std::vector<Trouble> troubles;
  for (const auto& [key, list] : by_item) {
    Trouble trouble{key, list.back()->kind, 0, {}};
    std::vector<NoteRecord> wrong;
    for (std::size_t i = list.size() - std::min(list.size(), looked_back); i < list.size(); ++i) {
      if (list[i]->grade == Grade::missed) ++trouble.missed_count;
      for (const NoteRecord& note : list[i]->notes) {
        if (note.mark != Mark::tick && note.right_midi) wrong.push_back(note);
      }
    }
    if (trouble.missed_count < missed_enough) continue;
    trouble.cause = common_cause(wrong);
    troubles.push_back(std::move(trouble));
  }
  std::stable_sort(troubles.begin(), troubles.end(), [](const Trouble& a, const Trouble& b) {
    return a.missed_count > b.missed_count;
  });
  return troubles;
}

}  // namespace

std::string common_cause(std::span<const NoteRecord> wrong) {
  const auto is_common = [&](std::size_t count) {
    return count >= 3 && 4 * count >= 3 * wrong.size();
  };
  const auto octaves = static_cast<std::size_t>(
      std::count_if(wrong.begin(), wrong.end(),
                    [](const NoteRecord& note) { return note.mark == Mark::octave; }));
  if (is_common(octaves)) return "always the octave";
  const Share interval = largest_share(wrong, [](const NoteRecord& note) {
    return note.interval_semitones ? interval_text(*note.interval_semitones) : std::string();
  });
  if (is_common(interval.count))
    return fmt::format("always after the same interval, a {}", interval.name);
  const Share role = largest_share(wrong, [](const NoteRecord& note) {
    return note.role ? std::string(theory::role_text(*note.role)) : std::string();
  });
  if (is_common(role.count)) return fmt::format("always the same role, {}", role.name);
  const Share place = largest_share(
      wrong, [](const NoteRecord& note) { return std::string(register_text(*note.right_midi)); });
  if (is_common(place.count)) return fmt::format("always in one register, {}", place.name);
  return {};
}

Progress progress_of(std::span<const AnswerRecord> answers) {
  Progress progress;
  Counter kinds;
  Counter roles;
  Counter intervals;
  Counter registers;
  Counter tempos;
  Table role_table;
  Table note_table;
  for (const AnswerRecord& answer : answers) {
    const bool is_right = answer.grade != Grade::missed;
    ++progress.answer_count;
    progress.right_count += is_right ? 1 : 0;
    kinds.add(static_cast<double>(answer.kind), std::string(kind_text(answer.kind)), is_right,
              false);
    const double bpm = answer.tempo_bpm * answer.speed_ratio;
    if (bpm > 0.0) tempos.add(std::floor(bpm / 40.0), tempo_text(bpm), is_right, false);
    if (answer.kind == Kind::name_the_role && answer.heard != "nothing") {
      role_table.add(role_order(answer.right), answer.right, role_order(answer.heard),
                     answer.heard);
    }
    for (const NoteRecord& note : answer.notes) {
      if (!note.right_midi) continue;
      const bool has_tick = note.mark == Mark::tick;
      const bool is_octave = note.mark == Mark::octave;
      if (note.role) {
        roles.add(static_cast<double>(*note.role), std::string(theory::role_text(*note.role)),
                  has_tick, is_octave);
      }
      if (note.interval_semitones) {
        const int by = std::clamp(*note.interval_semitones, -13, 13);
        intervals.add(by, interval_text(by), has_tick, is_octave);
      }
      registers.add(static_cast<double>(register_index(*note.right_midi)),
                    std::string(register_text(*note.right_midi)), has_tick, is_octave);
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
  for (const Trouble& trouble : progress.troubles) {
    text += fmt::format("keeps failing: {} ({}{}{})\n", trouble.item_key, kind_text(trouble.kind),
                        trouble.cause.empty() ? "" : ", ", trouble.cause);
  }
  return text;
}

}  // namespace lowstride::drill
