#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "src/sheet/engraving.hpp"

namespace lowstride::sheet {

/// A note head, or the end of a tab number's stem, to which stem, beam or flag is drawn.
struct StemmedNote {
  std::size_t value = 0;  // into the bar's values
  double x = 0.0;         // centre
  double y = 0.0;         // where the stem begins
  double middle_y = 0.0;  // stems of far notes reach it; y itself where there is no staff
};

struct StemOptions {
  bool is_up = false;
  double length_pt = 3.5 * staff_space_pt;
  double side_pt = 0.92 * head_half_width_pt;  // from the centre to the stem; 0 on tab
};

/// Draws stems and flag of one note, or stems and beams of a group. Gives the y of the outermost
/// ink at each note, for tuplet numbers. Beams follow the line by half its slope and a space at
/// most; no stem is shorter than 2.7 spaces (common practice).
std::vector<double> add_stems(std::span<const StemmedNote> notes,
                              std::span<const WrittenValue> values, const StemOptions& options,
                              std::vector<Mark>& marks);

/// The rest of a value, centred at x about a staff's middle line.
void add_rest(const WrittenValue& value, double x, double middle_y, std::vector<Mark>& marks);
/// A rest for a whole bar: it hangs from the line above the middle in every meter.
void add_bar_rest(double x, double middle_y, std::vector<Mark>& marks);

/// The figure 3 of a tuplet over (or under) its notes; with a bracket where no beam joins them.
void add_tuplet(double from_x, double to_x, double y, bool is_above, bool has_bracket,
                std::vector<Mark>& marks);

}  // namespace lowstride::sheet
