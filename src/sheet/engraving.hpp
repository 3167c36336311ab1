#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/sheet/column_heads.hpp"
#include "src/sheet/page.hpp"
#include "src/sheet/rhythm_values.hpp"
#include "src/sheet/written_pitch.hpp"

namespace lowstride::sheet {

// Measures of a printed sheet in points. A staff space of 5 pt gives the 7 mm staff that parts are
// printed in (common practice: rastral size 4 to 5).
inline constexpr double staff_space_pt = 5.0;
inline constexpr double tab_space_pt = 6.6;
inline constexpr double thin_line_pt = 0.55;
inline constexpr double stem_line_pt = 0.65;
inline constexpr double head_half_width_pt = 0.64 * staff_space_pt;

inline constexpr TextStyle chord_style{Face::sans_bold, 11.5};
inline constexpr TextStyle chord_kind_style{Face::sans_bold, 9.0};
inline constexpr TextStyle fret_style{Face::sans_bold, 7.6};
inline constexpr TextStyle small_style{Face::sans, 6.8};

/// A chord name in two sizes: root (and bass) large, kind smaller, with the signs for flat and
/// sharp: "B♭" + "7", then "/D".
struct ChordName {
  std::string root;
  std::string kind;
  std::string bass;
};
/// "Bb" with the signs that print has for flat and sharp. Every b and # counts as one but a first
/// letter.
[[nodiscard]] std::string with_print_signs(std::string_view name);
[[nodiscard]] ChordName chord_name_parts(const std::string& text);
[[nodiscard]] double chord_name_width(const ChordName& name, const TextMeasure& measure);
/// Adds the name with its left end at `place`; gives the width.
double add_chord_name(const ChordName& name, Point place, double grey, const TextMeasure& measure,
                      std::vector<Mark>& marks);

/// A place in a bar where something stands: a note, a rest or a chord name.
struct EngravedColumn {
  int onset_tatums = 0;
  double left_pt = 0.0;            // ink before its centre
  double right_pt = 0.0;           // and after it
  double spring = 1.0;             // how much of what is left over it takes, see `stretch`
  double least_distance_pt = 0.0;  // to the next column's centre, or to the bar line
  std::optional<std::size_t> value = std::nullopt;       // into EngravedBar::values
  std::optional<std::size_t> stab_value = std::nullopt;  // into EngravedBar::stab_values
  std::vector<ColumnHead> heads = {};                    // on the staff
};

/// A bar made ready for the page: what is in it and how far apart it must stand.
struct EngravedBar {
  std::size_t index = 0;  // into the layout's bars
  std::vector<WrittenValue> values;
  std::vector<WrittenValue> stab_values;  // empty for a bar without stabs
  BarPitches pitches;
  std::vector<EngravedColumn> columns;
  double lead_pt = 0.0;  // from the bar line to the first column's centre

  /// The bar's width when a quarter takes `stretch` points, or more where the ink needs it.
  [[nodiscard]] double width_pt(double stretch) const;
  /// Centres of the columns from the bar line on.
  [[nodiscard]] std::vector<double> places_pt(double stretch) const;
};

/// Spacing grows with the length of a note, less than in proportion: the rule of engravers that a
/// note of twice the length gets about 1.4 times the room (common practice; exponent 0.55).
[[nodiscard]] EngravedBar engrave_bar(const SheetBar& bar, std::size_t index, BarPitches pitches,
                                      const TextMeasure& measure);

/// The stretch under which bars together are `width_pt` wide; the least one where they are wider
/// even so.
[[nodiscard]] double stretch_for(std::span<const EngravedBar> bars, double width_pt);

/// Notes that share a beam: indices of values, two or more, all in one beat.
[[nodiscard]] std::vector<std::vector<std::size_t>> beam_groups(
    std::span<const WrittenValue> values);

/// Beams that a value has: 1 for an eighth, 2 for a sixteenth …; 0 for longer ones.
[[nodiscard]] int beam_count(NoteValue value) noexcept;

}  // namespace lowstride::sheet
