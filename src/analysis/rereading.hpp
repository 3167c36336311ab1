#pragma once

#include <optional>

#include "dsp/base/evidence.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::analysis {

/// What stands unconfirmed around an edit, read again in the light of it: the edit that replaces
/// the proposals within four bars of `touched`, decided with sixteen bars on either side in view
/// (where there is no grid, 8 and 30 seconds). Beats are decided anew only if `are_beats_touched`.
/// Nothing when the evidence does not reach there. `evidence` is that of the whole recording. Pure.
[[nodiscard]] std::optional<take::Edit> rereading_edit(const take::Take& take,
                                                       const dsp::Evidence& evidence,
                                                       const take::Stretch& touched,
                                                       bool are_beats_touched);

/// The frames [begin, end) of evidence as evidence of its own; `begin` is rounded down to a chord
/// frame, and `end` may lie past the last frame. Pure.
[[nodiscard]] dsp::Evidence slice_evidence(const dsp::Evidence& evidence, std::size_t begin,
                                           std::size_t end);

/// The evidence of a take's recording as it was kept when the take was lifted; nothing when it was
/// deleted or made by another version.
[[nodiscard]] std::optional<dsp::Evidence> kept_evidence(const take::Take& take);

}  // namespace lowstride::analysis
