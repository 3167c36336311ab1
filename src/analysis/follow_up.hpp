#pragma once

#include "dsp/base/evidence.hpp"
#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::analysis {

/// What follows from a person's edit that made `after` out of `before`: the unconfirmed
/// surroundings read again in its light (where `evidence` is given, that of the whole recording),
/// then a new fingering where the line changed. To be applied to `after`; no edits where nothing
/// follows. Confirming what is there has no consequences. Pure; takes some 20 ms. Errors: those of
/// take::apply and neck::finger_line.
[[nodiscard]] Result<take::EditGroup> follow_up(const take::Take& before, const take::Take& after,
                                                const dsp::Evidence* evidence);

}  // namespace lowstride::analysis
