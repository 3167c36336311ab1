#pragma once

#include <cstddef>
#include <cstdint>
#include <string>

#include "dsp/learned/layout.hpp"
#include "dsp/learned/weights.hpp"

namespace lowstride::dsp {

/// A fixed sequence of numbers in -1..1 (linear congruential, constants of Numerical Recipes).
class Sequence {
 public:
  explicit Sequence(std::uint32_t seed) : state_(seed) {}
  float next() {
    state_ = state_ * 1664525U + 1013904223U;
    return static_cast<float>(static_cast<double>(state_) / 2147483648.0 - 1.0);
  }

 private:
  std::uint32_t state_;
};

/// Weights of the right shapes that know nothing, but let every layer and every input matter.
inline Weights made_up_weights() {
  Sequence sequence(1);
  Weights weights{"made up", "none", "none", "none", {}};
  for (const LayerShape& layer : layer_shapes()) {
    Tensor weight{layer.weight_shape(), {}};
    std::size_t count = 1;
    for (const std::size_t size : weight.shape) count *= size;
    const float scale =
        1.5F /
        static_cast<float>(count / layer.out_channels > 100 ? 12 : 6);  // keeps values near 1
    for (std::size_t i = 0; i < count; ++i) weight.values.push_back(scale * sequence.next());
    Tensor bias{{layer.out_channels}, {}};
    for (std::size_t i = 0; i < layer.out_channels; ++i) {
      bias.values.push_back(0.2F * sequence.next());
    }
    weights.tensors.emplace(std::string(layer.name) + ".weight", std::move(weight));
    weights.tensors.emplace(std::string(layer.name) + ".bias", std::move(bias));
  }
  return weights;
}

}  // namespace lowstride::dsp
