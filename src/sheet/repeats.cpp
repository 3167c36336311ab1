#include "src/sheet/repeats.hpp"

#include <algorithm>

namespace lowstride::sheet {
namespace {

constexpr std::size_t longest_stretch = 32;
constexpr std::size_t least_bars_with_endings = 4;
constexpr std::size_t longest_ending = 2;
constexpr std::size_t least_times_of_one_bar = 4;

/// A bar as repeats compare it: with the chord that is in force where it begins.
struct Compared {
  const SheetBar* bar = nullptr;
  std::vector<SheetChord> chords;
  bool is_held_into = false;
  bool is_held_out_of = false;
  bool begins_passage = false;
};

bool is_same_note(const SheetNote& a, const SheetNote& b) {
  return a.onset_tatums == b.onset_tatums && a.length_tatums == b.length_tatums &&
         a.midi == b.midi && a.is_dead == b.is_dead && a.is_doubt == b.is_doubt &&
         a.is_tied_from_previous == b.is_tied_from_previous &&
         a.is_tied_to_next == b.is_tied_to_next && a.position == b.position && a.joint == b.joint;
}

bool is_same_stab(const SheetStab& a, const SheetStab& b) {
  return a.onset_tatums == b.onset_tatums && a.length_tatums == b.length_tatums &&
         a.positions == b.positions && a.is_tied_from_previous == b.is_tied_from_previous &&
         a.is_tied_to_next == b.is_tied_to_next;
}

bool is_same(const Compared& a, const Compared& b) {
  return a.bar->beat_count == b.bar->beat_count && a.bar->first_beat == b.bar->first_beat &&
         a.bar->divisions == b.bar->divisions &&
         std::ranges::equal(a.bar->notes, b.bar->notes, is_same_note) &&
         std::ranges::equal(a.bar->stabs, b.bar->stabs, is_same_stab) &&
         std::ranges::equal(a.chords, b.chords, [](const SheetChord& x, const SheetChord& y) {
           return x.onset_tatums == y.onset_tatums && x.text == y.text && x.is_doubt == y.is_doubt;
         });
}

std::vector<Compared> compared_bars(const take::Take& take, const SheetLayout& layout) {
  std::vector<Compared> all;
  std::optional<SheetChord> in_force;
  for (const SheetBar& bar : layout.bars) {
    Compared& one = all.emplace_back();
    one.bar = &bar;
    one.chords = bar.chords;
    const bool has_first = !bar.chords.empty() && bar.chords.front().onset_tatums == 0;
    if (!has_first && in_force) {
      in_force->onset_tatums = 0;
      one.chords.insert(one.chords.begin(), *in_force);
    }
    if (!bar.chords.empty()) in_force = bar.chords.back();
    one.is_held_into = (!bar.notes.empty() && bar.notes.front().is_tied_from_previous) ||
                       (!bar.stabs.empty() && bar.stabs.front().is_tied_from_previous);
    one.is_held_out_of = (!bar.notes.empty() && bar.notes.back().is_tied_to_next) ||
                         (!bar.stabs.empty() && bar.stabs.back().is_tied_to_next);
    one.begins_passage = std::ranges::any_of(
        take.passages, [&](const take::Passage& passage) { return begins_in(passage, bar); });
  }
  return all;
}

/// Bars [begin, begin + length) come `times` times; `ending` of them, at the end, differ.
struct Fold {
  std::size_t length = 0;
  std::size_t times = 1;
  std::size_t ending = 0;

  [[nodiscard]] std::size_t saved() const { return (length - ending) * (times - 1); }
};

bool may_repeat(const std::vector<Compared>& bars, std::size_t begin, std::size_t length) {
  return !bars[begin].is_held_into && !bars[begin + length - 1].is_held_out_of &&
         bars[begin].bar->number >= 1;
}

bool come_again(const std::vector<Compared>& bars, std::size_t begin, std::size_t again,
                std::size_t count) {
  for (std::size_t i = 0; i < count; ++i) {
    if (!is_same(bars[begin + i], bars[again + i]) || bars[again + i].begins_passage) return false;
  }
  return true;
}

Fold best_fold(const std::vector<Compared>& bars, std::size_t begin) {
  Fold best;
  const std::size_t left = bars.size() - begin;
  for (std::size_t length = 1; length <= std::min(longest_stretch, left / 2); ++length) {
    if (!may_repeat(bars, begin, length)) continue;
    Fold fold{length, 1, 0};
    while (begin + length * (fold.times + 1) <= bars.size() &&
           may_repeat(bars, begin + length * fold.times, length) &&
           come_again(bars, begin, begin + length * fold.times, length)) {
      ++fold.times;
    }
    const bool is_worth_it = length > 1 || fold.times >= least_times_of_one_bar;
    if (is_worth_it && fold.saved() > best.saved()) best = fold;
    for (std::size_t ending = 1; ending <= longest_ending && length >= least_bars_with_endings;
         ++ending) {
      const std::size_t again = begin + length;
      const std::size_t common = length - ending;
      // A silent or held end is no ending of its own.
      const bool may = may_repeat(bars, again, length) && !bars[begin + common].is_held_into &&
                       !bars[again + common].is_held_into &&
                       !is_same(bars[begin + common], bars[again + common]);
      if (!may || !come_again(bars, begin, again, common)) continue;
      const Fold with_endings{length, 2, ending};
      if (with_endings.saved() > best.saved()) best = with_endings;
    }
  }
  return best;
}

}  // namespace

void fold_repeats(const take::Take& take, SheetLayout& layout) {
  const std::vector<Compared> bars = compared_bars(take, layout);
  std::vector<SheetBar> folded;
  for (std::size_t begin = 0; begin < bars.size();) {
    const Fold fold = best_fold(bars, begin);
    if (fold.times < 2) {
      folded.push_back(*bars[begin++].bar);
      continue;
    }
    const std::size_t common = fold.length - fold.ending;
    const std::size_t first = folded.size();
    for (std::size_t i = 0; i < fold.length; ++i) {
      SheetBar bar = *bars[begin + i].bar;
      // What comes back to the sign must see its chord there.
      if (i == 0 || i == common) bar.chords = bars[begin + i].chords;
      for (std::size_t pass = 1; pass < fold.times && i < common; ++pass) {
        bar.repeated_numbers.push_back(bars[begin + pass * fold.length + i].bar->number);
      }
      if (i >= common) bar.ending = 1;
      folded.push_back(std::move(bar));
    }
    folded[first].begins_repeat = true;
    folded.back().repeat_times = static_cast<int>(fold.times);
    for (std::size_t i = common; i < fold.length; ++i) {
      SheetBar bar = *bars[begin + fold.length + i].bar;
      if (i == common) bar.chords = bars[begin + fold.length + i].chords;
      bar.ending = 2;
      folded.push_back(std::move(bar));
    }
    begin += fold.length * fold.times;
  }
  layout.bars = std::move(folded);
}

}  // namespace lowstride::sheet
