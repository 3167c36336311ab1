#pragma once

#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace lowstride::dsp {

/// Shape of one layer of the nets, named as in dsp/learned/training/nets.py.
struct LayerShape {
  std::string_view name;
  std::size_t out_channels;
  std::size_t in_channels;
  std::size_t row_taps;  // 0: a 1-d layer, stored without this axis
  std::size_t time_taps;

  [[nodiscard]] std::vector<std::size_t> weight_shape() const;
};

/// All layers of the three nets. A weights file holds NAME.weight and NAME.bias of each and nothing
/// else.
[[nodiscard]] std::span<const LayerShape> layer_shapes() noexcept;

}  // namespace lowstride::dsp
