#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {

Result<void> change(Take& take, const SetStabs& edit) {
  if (auto outcome = check_stretch(take, edit.begin_samples, edit.end_samples); !outcome) {
    return outcome;
  }
  std::int64_t free_from = edit.begin_samples;
  for (const Stab& stab : edit.stabs) {
    if (!is_stab_on_neck(take.neck, stab)) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("The stab at {} is not on the neck '{}'; arrange the take again.",
                              place_text(take, stab.onset_samples), take.neck.name));
    }
    if (stab.onset_samples < free_from || stab.onset_samples >= edit.end_samples ||
        stab.offset_samples <= stab.onset_samples || stab.offset_samples > take.length_samples) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("The stab at {} is out of order or out of its stretch; arrange the "
                              "take again.",
                              place_text(take, stab.onset_samples)));
    }
    free_from = stab.offset_samples;
  }
  std::vector<Stab> stabs;
  for (const Stab& stab : take.stabs) {
    if (stab.onset_samples >= edit.begin_samples) break;
    stabs.push_back(stab);
  }
  if (!stabs.empty() && !edit.stabs.empty()) {
    stabs.back().offset_samples =
        std::min(stabs.back().offset_samples, edit.stabs.front().onset_samples);
  }
  stabs.insert(stabs.end(), edit.stabs.begin(), edit.stabs.end());
  for (const Stab& stab : take.stabs) {
    if (stab.onset_samples < edit.end_samples) continue;
    if (!stabs.empty() && stabs.back().offset_samples > stab.onset_samples) {
      return fail(ErrorCode::conflict,
                  fmt::format("A stab would ring into the one at {}; end it before that.",
                              place_text(take, stab.onset_samples)));
    }
    stabs.push_back(stab);
  }
  take.stabs = std::move(stabs);
  return {};
}

}  // namespace lowstride::take::detail
