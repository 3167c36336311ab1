#pragma once

#include <optional>
#include <span>

#include "dsp/base/table.hpp"
#include "dsp/harmony/chord_decoder.hpp"

namespace lowstride::dsp {

/// The key in which the chords make most sense, from how long each sounds; nothing when hardly any
/// chord sounds. `posterior`: [beat][chord_column_count]; `beat_seconds`: length of each beat, as
/// many as rows. Confidence is the probability among the 24 keys.
[[nodiscard]] std::optional<DecodedKey> estimate_key(const Table& posterior,
                                                     std::span<const double> beat_seconds);

}  // namespace lowstride::dsp
