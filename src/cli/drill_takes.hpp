#pragma once

#include <cstddef>
#include <map>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/cli/drill_sound.hpp"
#include "src/cli/options.hpp"
#include "src/drill/history.hpp"
#include "src/drill/item_book.hpp"

namespace lowstride::cli {

/// What a session asks from. The takes themselves are not kept: one is read at a time, and again
/// when an item of it is to be asked.
struct DrillTakes {
  std::size_t take_count = 0;
  std::map<std::string, DrillSource> sources;  // by take key, of takes with something to ask
  drill::ItemBook book;
};

/// Reads the takes that the options name, those of folders among them, and with `is_due` those that
/// the history knows; remembers the named ones in the history. `states` is what it knows of items:
/// with `is_due` and no take named, only these are asked. A named file that cannot be read is an
/// error; one of a folder or of the history is said and left out. Errors: those of `load_take`,
/// not_found (no such passage), cancelled on an interrupt, the history's.
[[nodiscard]] Result<DrillTakes> open_drill_takes(const DrillOptions& options,
                                                  drill::History& history,
                                                  const std::vector<drill::ItemState>& states);

}  // namespace lowstride::cli
