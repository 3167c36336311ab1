#pragma once

#include <algorithm>
#include <cstddef>

namespace lowstride::dsp::stretch {

/// The least multiple of 16 from about `wanted` on that has no prime factor over 5: FFTW is fast
/// there, and an eighth of it is a whole, even number of samples.
[[nodiscard]] constexpr std::size_t good_fft_size(std::size_t wanted) noexcept {
  for (std::size_t size = std::max<std::size_t>((wanted + 8) / 16, 4);; ++size) {
    std::size_t rest = size;
    for (const std::size_t prime : {std::size_t{2}, std::size_t{3}, std::size_t{5}}) {
      while (rest % prime == 0) rest /= prime;
    }
    if (rest == 1) return 16 * size;
  }
}

}  // namespace lowstride::dsp::stretch
