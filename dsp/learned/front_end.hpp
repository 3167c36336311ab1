#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "dsp/learned/frame_queue.hpp"
#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

inline constexpr std::size_t log_bin_count = 280;  // 3 a semitone; bin k is MIDI (32 + k) / 3
inline constexpr std::size_t band_count = 40;      // mel bands, 40 to 10,500 Hz
inline constexpr std::size_t spectrum_lane_count = 2 * log_bin_count;  // long window, short window

struct FrontEndOptions {
  double a4_hz = 440.0;  // the grid of log bins moves with it
  // A tape that runs unevenly: A4 is `a4_hz` at `middle_seconds` and moves by so much a minute. The
  // grid follows in steps of 0.74 s.
  double drift_cents_per_minute = 0.0;
  double middle_seconds = 0.0;
  float gain = 1.0F;  // brings the recording to RMS 0.1
};

/// What the nets read, frame by frame: logarithms of a long and a short spectrum on a log-frequency
/// grid, and of mel bands. The twin of dsp/learned/training/frontend.py, where every number is
/// explained; equal to it within 1e-4.
///
/// Frame i is centred on sample 256 i; before the first and after the last sample lies silence.
/// Mel scale: O'Shaughnessy, "Speech Communication", 1987. Any block size gives the same frames to
/// the last bit. One instance a thread.
class FrontEnd {
 public:
  explicit FrontEnd(const FrontEndOptions& options);

  /// Appends the frames that became complete to `spectra` (`spectrum_lane_count` lanes: 0..279 long
  /// window, 280..559 short) and `bands` (`band_count` lanes). Samples that are not finite count as
  /// zero.
  void process(std::span<const float> samples, FrameQueue& spectra, FrameQueue& bands);
  /// Appends the rest: in all sample_count / 256 + 1 frames.
  void finish(FrameQueue& spectra, FrameQueue& bands);

 private:
  /// Rows of a sparse matrix from DFT bins to mapped bins.
  struct SparseMap {
    struct Row {
      std::size_t first_bin = 0;
      std::size_t first_weight = 0;
      std::size_t count = 0;
    };
    std::vector<Row> rows;
    std::vector<float> weights;
    std::size_t bin_end = 0;  // bins from here on weigh nothing
  };
  struct Spectrum {
    Spectrum(std::size_t window_samples, std::size_t fft_samples, SparseMap sparse_map);

    void change_map(SparseMap sparse_map);

    RealFft fft;
    SparseMap map;
    std::vector<float> window;  // times 2 / size
    std::vector<float> frame;   // [fft size], zero behind the window
    std::vector<std::complex<float>> bins;
    std::vector<float> magnitudes;
  };

  static SparseMap pitch_map(std::size_t fft_samples, double a4_hz);
  static SparseMap band_map(std::size_t fft_samples);
  void move_grid();
  void add_frame(FrameQueue& spectra, FrameQueue& bands);
  void transform(Spectrum& spectrum, FrameQueue& out, std::size_t first_lane, std::size_t frame);

  FrontEndOptions options_;
  std::vector<float> buffer_;  // scaled samples round the next frame
  std::size_t begin_ = 0, end_ = 0;
  std::size_t sample_count_ = 0, frame_count_ = 0;
  std::array<Spectrum, 3> spectra_;
};

}  // namespace lowstride::dsp
