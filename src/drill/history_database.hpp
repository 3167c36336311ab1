#pragma once

#include <string>
#include <vector>

#include "src/drill/history.hpp"
#include "src/drill/sqlite.hpp"

namespace lowstride::drill {

/// What a History keeps open; for the sources of History alone.
struct History::Inside {
  detail::Database database;
  std::vector<std::string> messages;
};

}  // namespace lowstride::drill
