#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "src/sheet/written_pitch.hpp"

namespace lowstride::sheet {

/// A note head of a column, and its sign.
struct ColumnHead {
  int diatonic = 0;    // line or space, see WrittenPitch::diatonic
  double dx_pt = 0.0;  // of its centre from the column's
  std::optional<int> accidental = std::nullopt;
  double accidental_dx_pt = 0.0;
  bool is_stab = false;
  std::size_t string_index = 0;  // into the stab's strings, lowest first

  bool operator==(const ColumnHead&) const = default;
};

struct ColumnHeads {
  std::vector<ColumnHead> heads;  // the line's note first, then the stab from its lowest head up
  double left_pt = 0.0;           // ink before the column's centre
  double right_pt = 0.0;          // and after it
};

/// Places the heads of what begins together: a note of the line (or none), and a stab over it (or
/// none). Common practice: of two heads on neighbouring places the upper one goes to the right of
/// the stem; a stab that touches the line's note stands to its right as a whole; signs stand in as
/// many columns as keep those nearer than a sixth apart from each other. `note_has_sign`,
/// `stab_has_signs`: false for a tied piece, which has none written before it.
[[nodiscard]] ColumnHeads column_heads(const WrittenPitch* note, std::span<const WrittenPitch> stab,
                                       bool note_has_sign, bool stab_has_signs);

}  // namespace lowstride::sheet
