#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// One multiple of the mains frequency: amplitude * cos(2 pi order fundamental t + phase) at the
/// beginning of the recording, t = 0 at its first sample.
struct HumLine {
  int order = 1;           // 1 = the fundamental itself
  double amplitude = 0.0;  // 1 = full scale
  double phase_radians = 0.0;

  bool operator==(const HumLine&) const = default;
};

/// Steady lines of the mains in a recording.
struct MainsHum {
  double fundamental_hz = 50.0;  // measured, within 0.4 % of 50 or 60 Hz
  std::vector<HumLine> lines;    // by ascending order; not empty

  bool operator==(const MainsHum&) const = default;
};

/// Tells mains hum from held notes in one pass over a recording.
///
/// Each multiple of 50 and 60 Hz up to the twelfth is followed through 16384-point Hann spectra in
/// blocks of 48 frames (9.5 s, half overlapping). A block tells how far the line stands out of its
/// surroundings in its quiet frames (second decile), which frequency it keeps its phase best at,
/// and how much of its quiet level is coherent there; frames louder than the quiet ones, where
/// notes sound, count by phase only. A line is hum when, in the middle of the blocks, it stands out
/// by 5 dB (it goes on through every gap), more than 0.55 of its level is coherent (a string that
/// is struck again begins a new phase), and seven of ten blocks agree on the frequency within 0.05
/// Hz. Two lines of one family are needed, at a common fundamental. A tone held throughout a
/// recording at exactly 50 or 60 Hz with an exact harmonic would be mistaken for hum.
///
/// Any block size gives the same answer to the last bit; memory grows by 0.1 kB a second.
class HumDetector {
 public:
  HumDetector();

  /// The next samples: mono at `analysis_rate_hz`, finite.
  void process(std::span<const float> samples);

  /// The hum in everything so far, or nothing. Under 19 seconds there is never an answer.
  [[nodiscard]] std::optional<MainsHum> finish() const;

 private:
  static constexpr int most_harmonics = 12;

  struct Block {
    float prominence = 0.0F;  // quiet level over the middle one of its surroundings'
    float coherence = 0.0F;   // 0..1
    float hz = 0.0F;          // minus the nominal frequency
  };
  struct Line {
    double nominal_hz = 0.0;
    std::size_t bin = 0;
    std::vector<std::complex<double>> values;   // [frames of the block]
    std::array<std::vector<float>, 12> around;  // [bins beside the line][frames of the block]
    std::vector<Block> blocks;
    std::vector<std::complex<double>> opening;  // values of the first block
  };

  void analyse_frame();
  static Block analyse_block(const Line& line);
  [[nodiscard]] HumLine opening_line(const Line& line, int order, double hz) const;

  RealFft fft_;
  std::vector<float> window_, buffer_, windowed_;
  std::vector<std::complex<float>> spectrum_;
  std::vector<Line> lines_;  // 12 of 50 Hz, then 12 of 60 Hz
  std::size_t filled_ = 0;
};

/// Takes the lines of `MainsHum` out of a recording by narrow notches (second order, 0.8 Hz wide: a
/// G1 one hertz below 50 Hz loses 0.6 dB). Removes nothing when built without hum.
///
/// A notch that starts from rest would let the hum through for its first half second, where it
/// reads as a note; so the notches are settled on the lines as they are at the beginning.
class HumFilter {
 public:
  explicit HumFilter(const std::optional<MainsHum>& hum);

  /// Filters the next samples in place. Real-time safe.
  void process(std::span<float> samples) noexcept;

 private:
  struct Notch {
    double b0, b1, a1, a2;  // b2 = b0
    double s1 = 0.0, s2 = 0.0;
  };
  double filter(double sample) noexcept;

  std::vector<Notch> notches_;
};

}  // namespace lowstride::dsp
