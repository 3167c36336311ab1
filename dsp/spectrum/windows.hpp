#pragma once

#include <cstddef>
#include <vector>

namespace lowstride::dsp {

/// Periodic Hann window (the one that overlap-adds to a constant): sin^2(pi n / size).
/// Requires `size` >= 1.
[[nodiscard]] std::vector<float> hann_window(std::size_t size);

}  // namespace lowstride::dsp
