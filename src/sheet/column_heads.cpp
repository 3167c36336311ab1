#include "src/sheet/column_heads.hpp"

#include <algorithm>

#include "src/sheet/engraving.hpp"

namespace lowstride::sheet {
namespace {

constexpr double sign_distance_pt = 0.85 * staff_space_pt;  // from head to sign
constexpr double sign_column_pt = 1.15 * staff_space_pt;
constexpr double sign_ink_pt = 1.5 * staff_space_pt;
constexpr double head_width_pt = 2.0 * head_half_width_pt;
constexpr int clear_steps = 6;  // signs this far apart may stand over each other

/// Signs from the top down, each in the first column where it is clear of the others.
void place_signs(std::vector<ColumnHead>& heads, ColumnHeads& made) {
  std::vector<ColumnHead*> signs;
  for (ColumnHead& head : heads) {
    if (head.accidental) signs.push_back(&head);
  }
  std::ranges::stable_sort(
      signs, [](const ColumnHead* a, const ColumnHead* b) { return a->diatonic > b->diatonic; });
  std::vector<std::vector<int>> columns;
  for (ColumnHead* sign : signs) {
    std::size_t column = 0;
    while (column < columns.size() && std::ranges::any_of(columns[column], [sign](int other) {
             return std::abs(other - sign->diatonic) < clear_steps;
           })) {
      ++column;
    }
    if (column == columns.size()) columns.emplace_back();
    columns[column].push_back(sign->diatonic);
    sign->accidental_dx_pt =
        -head_half_width_pt - sign_distance_pt - sign_column_pt * static_cast<double>(column);
  }
  if (columns.empty()) return;
  made.left_pt =
      head_half_width_pt + sign_ink_pt + sign_column_pt * static_cast<double>(columns.size() - 1);
}

}  // namespace

ColumnHeads column_heads(const WrittenPitch* note, std::span<const WrittenPitch> stab,
                         bool note_has_sign, bool stab_has_signs) {
  ColumnHeads made;
  made.left_pt = made.right_pt = head_half_width_pt;
  std::vector<ColumnHead> chord;
  chord.reserve(stab.size());
  for (std::size_t i = 0; i < stab.size(); ++i) {
    chord.push_back({stab[i].diatonic(), 0.0, stab_has_signs ? stab[i].accidental : std::nullopt,
                     0.0, true, i});
  }
  std::ranges::stable_sort(chord, {}, &ColumnHead::diatonic);
  double shift = 0.0;
  if (note != nullptr && !chord.empty() && chord.front().diatonic - note->diatonic() <= 1) {
    shift = head_width_pt;
  }
  bool is_aside = false;
  for (std::size_t i = 0; i < chord.size(); ++i) {
    is_aside = i > 0 && !is_aside && chord[i].diatonic - chord[i - 1].diatonic <= 1;
    chord[i].dx_pt = shift + (is_aside ? head_width_pt : 0.0);
    made.right_pt = std::max(made.right_pt, chord[i].dx_pt + head_half_width_pt);
  }
  if (note != nullptr) {
    made.heads.push_back({.diatonic = note->diatonic(),
                          .accidental = note_has_sign ? note->accidental : std::nullopt});
  }
  made.heads.insert(made.heads.end(), chord.begin(), chord.end());
  place_signs(made.heads, made);
  return made;
}

}  // namespace lowstride::sheet
