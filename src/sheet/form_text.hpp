#pragma once

#include <string>

#include "src/take/take.hpp"

namespace lowstride::sheet {

/// One chorus of the take's form in roman numerals, four bars a line, each line indented by
/// `indent` blanks and ending with a newline:
///   | I7       | IV7      | I7       | v7 I7    |
/// A bar with the chord of the bar before has "%". Bars of the first chorus, as they are now in
/// the take. Empty where no form is recognised in its chords, or without a key. Degrees as
/// theory::roman_numeral has them, against the take's key (of a blues: its first chord).
[[nodiscard]] std::string form_numerals(const take::Take& take, int indent = 0);

}  // namespace lowstride::sheet
