#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// Steady lines of the mains in a recording: the fundamental (near 50 or 60 Hz) and which of its
/// multiples are there.
struct MainsHum {
  double fundamental_hz = 50.0;      // measured, within 0.4 % of 50 or 60 Hz
  std::vector<int> harmonic_orders;  // ascending, 1 = the fundamental itself; not empty

  bool operator==(const MainsHum&) const = default;
};

/// Tells mains hum from held notes in one pass over a recording.
///
/// Levels of 16384-point Hann spectra round each multiple of 50 and 60 Hz up to the twelfth are
/// counted into histograms. A line is hum when it stands out of its surroundings by 6 dB even in
/// the quietest tenth of the frames (it goes on through every gap), when its level there hardly
/// moves (within 5 dB from the tenth to the third decile; a struck string decays), and when its
/// frequency, by phase advance, stays within 0.06 Hz in a third of the frames (a string that is
/// struck again begins a new phase). Two lines of one family are needed, at a common fundamental;
/// one note held throughout at exactly 50 or 60 Hz with an exact harmonic would be mistaken for
/// hum.
///
/// Any block size gives the same answer to the last bit; memory does not grow with length.
class HumDetector {
 public:
  HumDetector();

  /// The next samples: mono at `analysis_rate_hz`, finite.
  void process(std::span<const float> samples) noexcept;

  /// The hum in everything so far, or nothing. Under four seconds there is never an answer.
  [[nodiscard]] std::optional<MainsHum> finish() const;

 private:
  static constexpr int most_harmonics = 12;
  static constexpr std::size_t neighbourhood_bins = 10;  // each way
  static constexpr std::size_t level_steps = 160;        // of 1 dB, from -160 dB
  static constexpr std::size_t frequency_steps = 100;    // of 0.02 Hz, +-1 Hz

  struct Line {
    double nominal_hz = 0.0;
    std::size_t bin = 0;
    std::vector<std::array<std::uint32_t, level_steps>> levels;  // [2 neighbourhood_bins + 1]
    std::array<std::uint32_t, frequency_steps> frequencies{};
    std::complex<double> previous;
  };

  void analyse_frame() noexcept;

  RealFft fft_;
  std::vector<float> window_, buffer_, windowed_;
  std::vector<std::complex<float>> spectrum_;
  std::vector<Line> lines_;  // 12 of 50 Hz, then 12 of 60 Hz
  std::size_t filled_ = 0;
  std::uint32_t frame_count_ = 0;
};

/// Takes the lines of `MainsHum` out of a recording by narrow notches (second-order, 0.8 Hz wide
/// each: a G1 one hertz below 50 Hz loses 0.6 dB). Removes nothing when built without hum.
///
/// Notches that start from rest would let the hum through for their first half second. So the first
/// two seconds are held back, run through once to settle the notches over a whole number of
/// periods, and then run again for the result; the output is in step with the input, only later.
class HumFilter {
 public:
  explicit HumFilter(const std::optional<MainsHum>& hum);

  /// Appends what is ready to `out`; `out` keeps what it holds.
  void process(std::span<const float> in, std::vector<float>& out);
  /// Appends the rest. Afterwards as many samples have come out as went in.
  void finish(std::vector<float>& out);

 private:
  struct Notch {
    double b0, b1, a1, a2;  // b2 = b0
    double s1 = 0.0, s2 = 0.0;
  };
  float filter(float sample) noexcept;
  void settle(std::vector<float>& out);

  std::vector<Notch> notches_;
  std::vector<float> opening_;
  std::size_t opening_samples_ = 0;  // to hold back; 0 once settled
  std::size_t settle_samples_ = 0;   // whole periods of the fundamental
};

}  // namespace lowstride::dsp
