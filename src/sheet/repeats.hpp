#pragma once

#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// Writes bars that come again once, between repeat signs: two bars or more that follow each other
/// note for note, string and fret and doubt included, under the same chords; one bar from four
/// times on; and, from four bars on, a stretch that comes again with another end, as first and
/// second ending of one or two bars. At each place the stretch that saves most bars is taken, the
/// shorter one of two. No note may be held into or out of a repeat, and none in which a passage
/// begins disappears. Bars keep their numbers; those that were folded away are in
/// `repeated_numbers`.
void fold_repeats(const take::Take& take, SheetLayout& layout);

}  // namespace lowstride::sheet
