#include "dsp/spectrum/windows.hpp"

#include <cmath>
#include <numbers>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

std::vector<float> hann_window(std::size_t size) {
  LOWSTRIDE_EXPECTS(size >= 1);
  std::vector<float> window(size);
  for (std::size_t n = 0; n < size; ++n) {
    const double sine =
        std::sin(std::numbers::pi * static_cast<double>(n) / static_cast<double>(size));
    window[n] = static_cast<float>(sine * sine);
  }
  return window;
}

}  // namespace lowstride::dsp
