#pragma once

#include <cstddef>
#include <memory>
#include <span>

#include "dsp/base/evidence.hpp"

namespace lowstride::dsp {

struct LowPitchEvidenceOptions {
  double a4_hz = 440.0;  // the grid that pitches are told apart on; 400..480
  float gain = 1.0F;     // what brings the whole recording to an RMS of 0.1
};

/// Pitch posterior and onsets of the low voice, by hand-made rules: harmonic sums over whitened
/// log-frequency spectra of a long and a short window, with guards against both octaves, and the
/// rise of a pitch's own partials together with the broad-band rise.
/// Mono samples at `analysis_rate_hz` go in block by block; how they are cut does not matter.
/// Memory: the evidence so far (0.4 kB a frame) and one long window. One instance a thread.
/// Source: harmonic sum and whitening after Klapuri, "Multiple fundamental frequency estimation by
/// summing harmonic amplitudes", ISMIR 2006; spectral flux after Dixon, DAFx 2006.
class LowPitchEvidence {
 public:
  explicit LowPitchEvidence(const LowPitchEvidenceOptions& options);
  LowPitchEvidence(LowPitchEvidence&&) noexcept;
  LowPitchEvidence& operator=(LowPitchEvidence&&) noexcept;
  ~LowPitchEvidence();

  /// Takes the next samples; non-finite ones count as zero.
  void process(std::span<const float> samples);

  /// Ends the recording and writes `a4_hz`, `pitch`, `onset` and `dead` (all zero) of `evidence`:
  /// `samples / evidence_hop_samples + 1` frames. No samples give no frames. May be called once.
  void finish(Evidence& evidence);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace lowstride::dsp
