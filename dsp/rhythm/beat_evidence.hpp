#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// Fills `Evidence::beat` and `Evidence::downbeat` from sound: band-wise spectral flux with a
/// maximum filter for beats; low accents and chord change for downbeats.
/// Use: `process` with consecutive blocks of any size, mono at `analysis_rate_hz`, then `finish`
/// once. The constructor takes all memory but two values a frame. One instance a recording.
/// Source: Böck & Widmer, "Maximum filter vibrato suppression for onset detection", DAFx 2013
/// (flux, lag of two frames); Stowell & Plumbley, "Adaptive whitening for improved real-time audio
/// onset detection", ICMC 2007 (levels of bands).
class BeatEvidence {
 public:
  BeatEvidence();

  void process(std::span<const float> samples);

  /// Writes `frame_count` values of beat and downbeat; fill `evidence.chord` first: without it the
  /// downbeats rest on accents alone.
  void finish(std::size_t frame_count, Evidence& evidence);

 private:
  void read_frame();

  struct Band {
    std::size_t first_bin = 0;
    std::vector<float> weights;
  };

  RealFft fft_;
  std::vector<float> window_, pending_, windowed_;
  std::vector<std::complex<float>> spectrum_;
  std::vector<Band> bands_;
  std::size_t low_band_count_ = 0;
  std::vector<float> peaks_;                       // per band, slowly falling
  std::vector<float> now_, before_, before_that_;  // compressed bands of the last three frames
  std::vector<float> flux_, low_flux_;             // [frame]
};

}  // namespace lowstride::dsp
