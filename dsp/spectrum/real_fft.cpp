#include "dsp/spectrum/real_fft.hpp"

#include <algorithm>
#include <cstring>

#include <fftw3.h>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

struct RealFft::Plans {
  float* time = nullptr;
  fftwf_complex* frequency = nullptr;
  fftwf_plan forward = nullptr;
  fftwf_plan inverse = nullptr;

  explicit Plans(std::size_t size)
      : time(fftwf_alloc_real(size)), frequency(fftwf_alloc_complex(size / 2 + 1)) {
    LOWSTRIDE_EXPECTS(time != nullptr && frequency != nullptr);
    const int count = static_cast<int>(size);
    forward = fftwf_plan_dft_r2c_1d(count, time, frequency, FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
    inverse = fftwf_plan_dft_c2r_1d(count, frequency, time, FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
    LOWSTRIDE_EXPECTS(forward != nullptr && inverse != nullptr);
  }
  Plans(const Plans&) = delete;
  Plans& operator=(const Plans&) = delete;
  ~Plans() {
    fftwf_destroy_plan(forward);
    fftwf_destroy_plan(inverse);
    fftwf_free(time);
    fftwf_free(frequency);
  }
};

namespace {

std::size_t checked_size(std::size_t size) {
  LOWSTRIDE_EXPECTS(size >= 2 && size % 2 == 0);
  return size;
}

}  // namespace

RealFft::RealFft(std::size_t size)
    : size_(checked_size(size)), plans_(std::make_unique<Plans>(size)) {}
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;
RealFft::~RealFft() = default;

void RealFft::forward(std::span<const float> frame, std::span<std::complex<float>> bins) noexcept {
  LOWSTRIDE_EXPECTS(frame.size() == size_ && bins.size() == bin_count());
  std::copy(frame.begin(), frame.end(), plans_->time);
  fftwf_execute(plans_->forward);
  static_assert(sizeof(fftwf_complex) == sizeof(std::complex<float>));
  std::memcpy(static_cast<void*>(bins.data()), plans_->frequency, bins.size_bytes());
}

void RealFft::inverse(std::span<const std::complex<float>> bins, std::span<float> frame) noexcept {
  LOWSTRIDE_EXPECTS(frame.size() == size_ && bins.size() == bin_count());
  std::memcpy(plans_->frequency, bins.data(), bins.size_bytes());
  fftwf_execute(plans_->inverse);
  const float scale = 1.0F / static_cast<float>(size_);
  std::transform(plans_->time, plans_->time + size_, frame.begin(),
                 [scale](float value) { return value * scale; });
}

}  // namespace lowstride::dsp
