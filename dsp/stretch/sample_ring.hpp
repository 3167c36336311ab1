#pragma once

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp::stretch {

/// Place on the time line of the input or of the stretched sound, in samples; may be negative.
using Place = std::int64_t;

/// The newest samples of several channels, addressed by their place since the start of the
/// stream. Places before 0 read as silence. All memory is taken by the constructor.
class SampleRing {
 public:
  /// Keeps at least `capacity_samples` of each channel.
  SampleRing(std::size_t channel_count, std::size_t capacity_samples)
      : capacity_(std::bit_ceil(std::max<std::size_t>(capacity_samples, 16))),
        channels_(channel_count, std::vector<float>(capacity_, 0.0F)) {}

  [[nodiscard]] std::size_t channel_count() const noexcept { return channels_.size(); }
  [[nodiscard]] std::size_t capacity_samples() const noexcept { return capacity_; }
  /// One past the newest place.
  [[nodiscard]] Place end() const noexcept { return end_; }

  void clear() noexcept {
    end_ = 0;
    for (auto& channel : channels_) std::fill(channel.begin(), channel.end(), 0.0F);
  }

  /// Value at a place, which must be older than `end()` and not older than the capacity.
  [[nodiscard]] float at(std::size_t channel, Place place) const noexcept {
    return place < 0 ? 0.0F : channels_[channel][index(place)];
  }
  [[nodiscard]] float& slot(std::size_t channel, Place place) noexcept {
    return channels_[channel][index(place)];
  }

  /// Sets places [begin, begin + source.size()), none of them negative.
  void write(std::size_t channel, Place begin, std::span<const float> source) noexcept {
    auto& data = channels_[channel];
    std::size_t done = 0;
    while (done < source.size()) {
      const std::size_t to = index(begin + static_cast<Place>(done));
      const std::size_t run = std::min(source.size() - done, capacity_ - to);
      std::copy_n(source.begin() + static_cast<std::ptrdiff_t>(done), run,
                  data.begin() + static_cast<std::ptrdiff_t>(to));
      done += run;
    }
  }

  /// Makes `count` more places valid; the caller has written or will write their slots.
  void advance(std::size_t count) noexcept { end_ += static_cast<Place>(count); }

  /// Copies places [begin, begin + target.size()); places not there yet read as silence.
  void read(std::size_t channel, Place begin, std::span<float> target) const noexcept {
    const Place count = static_cast<Place>(target.size());
    const Place lead = std::clamp<Place>(-begin, 0, count);
    const Place stop = std::clamp<Place>(end_ - begin, lead, count);
    std::fill_n(target.begin(), lead, 0.0F);
    std::fill(target.begin() + stop, target.end(), 0.0F);
    const auto& data = channels_[channel];
    Place done = lead;
    while (done < stop) {
      const std::size_t from = index(begin + done);
      const Place run = std::min<Place>(stop - done, static_cast<Place>(capacity_ - from));
      std::copy_n(data.begin() + static_cast<std::ptrdiff_t>(from), run, target.begin() + done);
      done += run;
    }
  }

 private:
  [[nodiscard]] std::size_t index(Place place) const noexcept {
    return static_cast<std::size_t>(place) & (capacity_ - 1);
  }

  std::size_t capacity_;  // a power of two
  std::vector<std::vector<float>> channels_;
  Place end_ = 0;
};

}  // namespace lowstride::dsp::stretch
