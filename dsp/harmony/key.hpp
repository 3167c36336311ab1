#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/base/table.hpp"
#include "dsp/harmony/chord_decoder.hpp"

namespace lowstride::dsp {

/// The key in which the chords make most sense, from how long each sounds; nothing when hardly any
/// chord sounds. `posterior`: [beat][chord_column_count]; `beat_seconds`: length of each beat, as
/// many as rows. Confidence is the probability among the 24 keys.
[[nodiscard]] std::optional<DecodedKey> estimate_key(const Table& posterior,
                                                     std::span<const double> beat_seconds);

/// The keys that a recording goes through: at least one where `estimate_key` finds one, more where
/// staying in one key would explain the chords much worse. A key holds for eight bars or more
/// before it counts, since passing through is no change of key. Begins are indices of beats.
struct KeyStretch {
  std::size_t first_beat = 0;
  DecodedKey key;
};
[[nodiscard]] std::vector<KeyStretch> key_stretches(const Table& posterior,
                                                    std::span<const double> beat_seconds,
                                                    int beats_per_bar);

}  // namespace lowstride::dsp
