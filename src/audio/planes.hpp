#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

#include "dsp/base/audio_view.hpp"

namespace lowstride::audio {

/// Planar samples that are owned, with views of parts of them. A view is valid until the next.
class Planes {
 public:
  Planes(std::size_t channel_count, std::size_t sample_count)
      : planes_(channel_count, std::vector<float>(sample_count)),
        writable_(channel_count),
        readable_(channel_count) {}

  [[nodiscard]] std::size_t channel_count() const noexcept { return planes_.size(); }
  [[nodiscard]] std::size_t sample_count() const noexcept { return planes_.front().size(); }

  [[nodiscard]] dsp::MutableAudioView part(std::size_t begin, std::size_t count) {
    LOWSTRIDE_EXPECTS(begin + count <= sample_count());
    for (std::size_t c = 0; c < planes_.size(); ++c) writable_[c] = planes_[c].data() + begin;
    return {writable_, count};
  }
  [[nodiscard]] dsp::AudioView read(std::size_t begin, std::size_t count) {
    LOWSTRIDE_EXPECTS(begin + count <= sample_count());
    for (std::size_t c = 0; c < planes_.size(); ++c) readable_[c] = planes_[c].data() + begin;
    return {readable_, count};
  }

  void clear(std::size_t begin, std::size_t count) {
    for (std::vector<float>& plane : planes_) {
      std::fill_n(plane.begin() + static_cast<std::ptrdiff_t>(begin), count, 0.0F);
    }
  }
  void load_interleaved(std::span<const float> values, std::size_t count) {
    for (std::size_t c = 0; c < planes_.size(); ++c) {
      for (std::size_t i = 0; i < count; ++i) planes_[c][i] = values[i * planes_.size() + c];
    }
  }

 private:
  std::vector<std::vector<float>> planes_;
  std::vector<float*> writable_;
  std::vector<const float*> readable_;
};

}  // namespace lowstride::audio
