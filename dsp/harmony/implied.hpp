#pragma once

#include <vector>

#include "dsp/base/probability_table.hpp"

namespace lowstride::dsp {

/// Tells where only the low voice speaks of harmony: there the evidence is fairly sure of roots and
/// unsure of what stands on them. Where chords sound, both go together.
/// It is a guess from doubt about qualities, not a search for sound above the bass: with the first
/// weights it marked 82 % of the time of basses alone and 10 % of that of bands.
class ImpliedHarmony {
 public:
  /// `chord`: [chord frame][chord_column_count], rows sum to 1. It is not kept.
  explicit ImpliedHarmony(const ProbabilityTable& chord);

  /// True when the surroundings of a stretch (twelve seconds to each side) have chords of which
  /// only the root is told.
  [[nodiscard]] bool is_implied(double begin_seconds, double end_seconds) const;

 private:
  // Running sums over chord frames that hold a chord: of (root's probability − chord's), and count.
  std::vector<double> gaps_, frames_;
};

}  // namespace lowstride::dsp
