#include <algorithm>
#include <array>
#include <cstdlib>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "src/drill/progress.hpp"
#include "src/drill/traits.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::drill {
namespace detail {

std::string interval_text(int semitones) {
  constexpr std::array<std::string_view, 13> names{
      "unison", "half step",   "whole step",  "minor third",   "major third",   "fourth", "tritone",
      "fifth",  "minor sixth", "major sixth", "minor seventh", "major seventh", "octave"};
  const auto size = static_cast<std::size_t>(std::abs(semitones));
  std::string name = size < names.size() ? std::string(names[size]) : "over an octave";
  if (semitones == 0) return name;
  return name + (semitones > 0 ? " up" : " down");
}

std::size_t register_index(int midi) noexcept {
  return midi < 33 ? 0 : midi < 40 ? 1 : midi < 48 ? 2 : 3;
}

std::string_view register_text(int midi) noexcept {
  constexpr std::array<std::string_view, 4> texts{"below A1", "A1 to Eb2", "E2 to B2",
                                                  "C3 and above"};
  return texts[register_index(midi)];
}

}  // namespace detail

namespace {

constexpr std::size_t looked_back = 5;
constexpr int wrong_enough = 3;

/// What a wrong answer may lie in, as a sentence; the order of the sorts decides among equals.
using Trait = std::pair<int, std::string>;

std::set<Trait> traits_of(const NoteRecord& note, const std::string& tune_key) {
  std::set<Trait> traits;
  if (note.mark == Mark::octave) traits.emplace(0, "always the octave");
  if (note.interval_semitones) {
    traits.emplace(1, "always after a " + detail::interval_text(*note.interval_semitones));
  }
  if (note.right_midi) {
    traits.emplace(
        2, fmt::format("always in one register, {}", detail::register_text(*note.right_midi)));
  }
  if (note.role) {
    traits.emplace(3, fmt::format("always the same role, {}", theory::role_text(*note.role)));
  }
  if (!tune_key.empty()) traits.emplace(4, "always in the key of " + tune_key);
  return traits;
}

struct Case {
  Trouble trouble;
  bool is_failing = false;
  std::set<Trait> traits;  // of its wrong notes where it fails, else of all
};

Case case_of(const std::vector<const AnswerRecord*>& answers) {
  Case one;
  const AnswerRecord& newest = *answers.back();
  one.trouble = {newest.item_key, newest.kind, newest.place, 0};
  std::map<Trait, std::size_t> wrong;
  std::size_t wrong_count = 0;
  for (std::size_t i = answers.size() - std::min(answers.size(), looked_back); i < answers.size();
       ++i) {
    const AnswerRecord& answer = *answers[i];
    // In another octave is wrong here, though it is graded more mildly.
    if (answer.grade == Grade::missed || answer.share_right < 1.0) ++one.trouble.wrong_count;
    // A question without notes, as one for a chord, has the key alone.
    const std::vector<NoteRecord> none(1);
    for (const NoteRecord& note : answer.first_notes().empty() ? none : answer.first_notes()) {
      const std::set<Trait> traits = traits_of(note, answer.tune_key);
      one.traits.insert(traits.begin(), traits.end());
      if (note.mark == Mark::tick || note.mark == Mark::extra) continue;
      ++wrong_count;
      for (const Trait& trait : traits) ++wrong[trait];
    }
  }
  one.is_failing = one.trouble.wrong_count >= wrong_enough;
  if (!one.is_failing) return one;
  std::erase_if(one.traits, [&](const Trait& trait) { return 4 * wrong[trait] < 3 * wrong_count; });
  return one;
}

/// The trait that explains the most of the failing cases that are left; nothing when none does.
const Trait* best_cause(const std::vector<Case>& cases, const std::vector<const Case*>& left,
                        const std::set<Trait>& candidates) {
  const auto failing_of_all = static_cast<double>(
      std::count_if(cases.begin(), cases.end(), [](const Case& one) { return one.is_failing; }));
  const Trait* best = nullptr;
  std::size_t best_count = 1;
  for (const Trait& trait : candidates) {
    std::size_t met = 0;
    std::size_t failing = 0;
    for (const Case& one : cases) {
      if (!one.traits.contains(trait)) continue;
      ++met;
      failing += one.is_failing ? 1U : 0U;
    }
    // A wrong octave is a cause by itself; anything else must fail more often than the rest does.
    const bool is_marked =
        trait.first == 0 || static_cast<double>(failing) * static_cast<double>(cases.size()) >=
                                1.5 * failing_of_all * static_cast<double>(met);
    const auto here = static_cast<std::size_t>(std::count_if(
        left.begin(), left.end(), [&](const Case* one) { return one->traits.contains(trait); }));
    if (is_marked && here > best_count) {
      best = &trait;
      best_count = here;
    }
  }
  return best;
}

void sort_items(TroubleGroup& group) {
  std::stable_sort(group.items.begin(), group.items.end(), [](const Trouble& a, const Trouble& b) {
    return a.wrong_count > b.wrong_count;
  });
}

}  // namespace

std::vector<TroubleGroup> troubles_of(std::span<const AnswerRecord> answers) {
  std::map<std::string, std::vector<const AnswerRecord*>> by_item;
  for (const AnswerRecord& answer : answers) by_item[answer.item_key].push_back(&answer);
  std::vector<Case> cases;
  cases.reserve(by_item.size());
  for (const auto& [key, list] : by_item) cases.push_back(case_of(list));
  std::vector<const Case*> left;
  std::set<Trait> candidates;
  for (const Case& one : cases) {
    if (!one.is_failing) continue;
    left.push_back(&one);
    candidates.insert(one.traits.begin(), one.traits.end());
  }
  std::vector<TroubleGroup> groups;
  while (const Trait* cause = best_cause(cases, left, candidates)) {
    TroubleGroup group{cause->second, {}};
    std::erase_if(left, [&](const Case* one) {
      if (!one->traits.contains(*cause)) return false;
      group.items.push_back(one->trouble);
      return true;
    });
    sort_items(group);
    groups.push_back(std::move(group));
  }
  if (left.empty()) return groups;
  TroubleGroup rest;
  for (const Case* one : left) rest.items.push_back(one->trouble);
  sort_items(rest);
  groups.push_back(std::move(rest));
  return groups;
}

}  // namespace lowstride::drill
