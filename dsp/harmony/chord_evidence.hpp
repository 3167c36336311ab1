#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// Fills `Evidence::chord` and `Evidence::chord_bass` from sound: treble and bass chroma against
/// chord templates.
/// Use: `process` with consecutive blocks of any size, mono at `analysis_rate_hz`, then `finish`
/// once. The constructor takes all memory but the rows of the result. One instance a recording.
/// Source: Fujishima, "Realtime chord recognition of musical sound", ICMC 1999 (templates); Gómez,
/// "Tonal description of polyphonic audio", 2006 (overtones in the templates); Mauch & Dixon, IEEE
/// TASLP 18(6), 2010 (bass apart from treble).
class ChordEvidence {
 public:
  /// `a4_hz`: tuning of the recording, within a quarter tone of 440.
  explicit ChordEvidence(double a4_hz = 440.0);

  void process(std::span<const float> samples);

  /// Writes the rows for `frame_count` frames of evidence: one to `chord_hop_frames` of them, the
  /// last one begun included.
  void finish(std::size_t frame_count, Evidence& evidence);

 private:
  void read_frame();

  RealFft fft_;
  std::vector<float> window_, pending_, windowed_;
  std::vector<std::complex<float>> spectrum_;
  std::vector<float> pitch_of_bin_;  // MIDI number on the tuned grid
  std::array<std::array<float, pitch_class_count>, chord_quality_count> templates_{};
  double loudest_ = 0.0;  // largest frame level so far, slowly falling
  Table chord_, chord_bass_;
};

}  // namespace lowstride::dsp
