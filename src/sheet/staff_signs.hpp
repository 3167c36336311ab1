#pragma once

#include <vector>

#include "src/sheet/engraving.hpp"
#include "src/sheet/page.hpp"

// Signs of the staff that are drawn here and not taken from a font of music.
namespace lowstride::sheet {

inline constexpr double staff_height_pt = 4.0 * staff_space_pt;
inline constexpr double clef_width_pt = 4.0 * staff_space_pt;
inline constexpr double doubt_grey = 0.45;

/// A flat, sharp, natural or double sign, `alteration` -2..2, beside a head at height y.
void add_accidental(int alteration, double x, double y, std::vector<Mark>& marks);

/// A note head about its centre: open for halves and wholes, a cross for a dead note.
void add_head(NoteValue value, bool is_dead, double x, double y, std::vector<Mark>& marks);

/// Short lines through and towards a head beyond the staff, whose top line is at y = 0.
void add_ledger_lines(double x, double y, std::vector<Mark>& marks);

/// The dots of a value behind a head; on a line they stand in the space above it.
void add_dots(int dot_count, double x, double y, std::vector<Mark>& marks);

/// How a note is sounded from the one before it, between two heads or two numbers. `is_above`: the
/// slur bows upwards. With `has_letter` an H or P stands at the slur.
void add_joint(Joint joint, Point from, Point to, bool is_above, bool has_letter,
               std::vector<Mark>& marks);

}  // namespace lowstride::sheet
