#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace lowstride::dsp {

/// Discrete Fourier transform of real frames of one size, single precision, by FFTW.
/// The constructor plans (estimated, so that results repeat from run to run) and takes all memory;
/// it needs `fftwf_make_planner_thread_safe()` to have been called when other threads plan too.
/// One instance a thread; `forward` and `inverse` are real-time safe.
class RealFft {
 public:
  /// Requires an even `size` >= 2.
  explicit RealFft(std::size_t size);
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;
  ~RealFft();

  [[nodiscard]] std::size_t size() const noexcept { return size_; }
  [[nodiscard]] std::size_t bin_count() const noexcept { return size_ / 2 + 1; }

  /// X[k] = sum x[n] e^(-2 pi i k n / size), not scaled. `frame`: `size()` samples; `bins`:
  /// `bin_count()` values. The frame is left as it was.
  void forward(std::span<const float> frame, std::span<std::complex<float>> bins) noexcept;

  /// The inverse, scaled by 1 / size, so that it undoes `forward`. `bins` is left as it was.
  void inverse(std::span<const std::complex<float>> bins, std::span<float> frame) noexcept;

 private:
  struct Plans;
  std::size_t size_;
  std::unique_ptr<Plans> plans_;
};

}  // namespace lowstride::dsp
