#pragma once

#include <string>

#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

struct TextTabOptions {
  int width_columns = 100;  // four bars of 4/4 a system at 100; 40 at least
  LayoutOptions layout;
  bool has_heading = true;
  bool has_roles = false;  // a row of signs under the counts, explained below
};

/// The take as text tab: heading, chord names over the bars, a line a string, counts under them,
/// notes in doubt marked below. A width under 40 counts as 40. Plain ASCII except for what a person
/// typed. Without a grid, a list of the notes by time. Ends with a newline. Deterministic.
[[nodiscard]] std::string render_text_tab(const take::Take& take,
                                          const TextTabOptions& options = {});

}  // namespace lowstride::sheet
