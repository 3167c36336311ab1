#pragma once

#include "dsp/base/probability_table.hpp"
#include "dsp/base/table.hpp"

namespace lowstride::dsp {

/// A table of probabilities that was written by hand, as a listener would keep it.
inline ProbabilityTable packed(const Table& table) {
  ProbabilityTable result(table.column_count());
  for (std::size_t i = 0; i < table.row_count(); ++i) result.append(table.row(i));
  return result;
}

}  // namespace lowstride::dsp
