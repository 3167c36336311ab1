#pragma once

#include <cstddef>
#include <span>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

/// Several channels of equal length, planar, owned by somebody else. A sample is one instant of
/// all channels. `Value` is `float` (writable) or `const float`.
template <typename Value>
struct BasicAudioView {
  std::span<Value* const> channels;  // one pointer a channel, each to `sample_count` values
  std::size_t sample_count = 0;

  [[nodiscard]] std::size_t channel_count() const noexcept { return channels.size(); }

  /// One channel. Requires `index < channel_count()`.
  [[nodiscard]] std::span<Value> channel(std::size_t index) const noexcept {
    LOWSTRIDE_EXPECTS(index < channels.size());
    return {channels[index], sample_count};
  }
};

using AudioView = BasicAudioView<const float>;
using MutableAudioView = BasicAudioView<float>;

}  // namespace lowstride::dsp
