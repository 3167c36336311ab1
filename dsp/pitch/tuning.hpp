#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// Where A4 lies in a recording.
struct TuningEstimate {
  double a4_hz = 440.0;     // half-way through; nearest to 440 Hz: 427.5..452.9, half a semitone
  double confidence = 0.0;  // 0..1: how far the partials crowd round one grid; not a probability
  double drift_cents_per_minute = 0.0;  // straight line; 0 unless it stands out from the scatter

  bool operator==(const TuningEstimate&) const = default;
};

/// Lines of the mains, whose partials say nothing about the music. See `HumLine`.
struct TuningOptions {
  bool ignore_50_hz_lines = false;
  bool ignore_60_hz_lines = false;
};

/// The tuning of a whole recording, from the frequencies of its steady partials below 1.5 kHz.
///
/// Partials are peaks of 8192-point Hann spectra; their frequency comes from the phase advance over
/// 512 samples (phase vocoder: Flanagan & Golden, Bell System Technical Journal 45, 1966), good to
/// a tenth of a cent on a steady tone. Deviations from the tempered grid of A4 = 440 Hz, modulo a
/// semitone, go into a histogram, and the estimate is its mode under a Gaussian of 8 cents (the
/// mode and not the circular mean of e.g. Dressler & Streich, ISMIR 2007: the sharp upper partials
/// of stiff strings, the flat fifth partials and the wide swing of a vibrato are tails that a mean
/// follows). A peak weighs by the root of its amplitude and its steadiness over the 512 samples;
/// one that fits as k-th partial under a lower one, k > 3, weighs 3 / k.
/// Percussion, noise and silence yield nothing.
///
/// Any block size gives the same estimate to the last bit. Memory does not grow with length. One
/// instance a thread.
class TuningEstimator {
 public:
  TuningEstimator();

  /// The next samples of the recording: mono at `analysis_rate_hz`, any level. Values that are not
  /// finite count as zero.
  void process(std::span<const float> samples) noexcept;

  /// The estimate over everything so far, or nothing when no grid stands out (under about half a
  /// second of steady tone, noise, silence).
  [[nodiscard]] std::optional<TuningEstimate> finish(const TuningOptions& options = {}) const;

  static constexpr std::size_t cents_per_semitone = 100;
  using Histogram = std::array<float, cents_per_semitone>;

 private:
  /// Partials by where they lie: elsewhere, beside a multiple of 50 Hz, of 60 Hz, of both.
  struct Segment {
    std::array<Histogram, 4> weights{};
    std::array<double, 4> squares{};  // sum of squared weights, for the effective count
  };
  struct Partial {
    double hz = 0.0;
    double amplitude = 0.0;
    double steadiness = 0.0;
  };

  void analyse_frame() noexcept;
  void add_partials(std::span<const Partial> partials) noexcept;
  void start_segment() noexcept;

  RealFft fft_;
  std::vector<float> window_;
  std::vector<float> buffer_;  // ring-less: one frame and its lag, moved down by a hop
  std::size_t filled_ = 0;
  std::vector<float> windowed_;
  std::vector<std::complex<float>> earlier_, later_;
  std::vector<float> magnitude_;
  std::vector<Partial> partials_;
  std::vector<Segment> segments_;
  std::size_t frames_in_segment_ = 0;
  std::size_t frames_per_segment_;
};

}  // namespace lowstride::dsp
