#pragma once

#include <span>

#include "dsp/base/table.hpp"
#include "dsp/rhythm/beat_decoder.hpp"

namespace lowstride::dsp {

/// Chord evidence in which bars that repeat help one another: to each bar is added the mean of the
/// bars whose surroundings read alike (the bar itself is left out of that judgement, so that a
/// chord cannot confirm itself). A tune whose form comes round is thus read once more with all its
/// choruses together, without the form having to be named. `emission`: natural logarithms,
/// [beat][column]; `posterior`: a first reading of them, rows sum to 1; both with a row for each
/// beat of `grid`.
/// Source: averaging over repeats after Mauch, Noland & Dixon, "Using musical structure to enhance
/// automatic chord transcription", ISMIR 2009; bars are weighed singly, as no section is cut out.
[[nodiscard]] Table with_repeats(const Table& emission, const Table& posterior,
                                 const DecodedGrid& grid, double weight);

}  // namespace lowstride::dsp
