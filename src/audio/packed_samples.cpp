#include "src/audio/packed_samples.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

#include "dsp/base/contracts.hpp"

namespace lowstride::audio {
namespace {

constexpr float largest = 32767.0F;

}  // namespace

PackedSamples::PackedSamples(std::unique_ptr<DiskFile> file) : file_(std::move(file)) {
  last_.reserve(block_values);
}

Result<std::unique_ptr<PackedSamples>> PackedSamples::create() {
  auto file = DiskFile::create();
  if (!file) return tl::unexpected(file.error());
  return std::unique_ptr<PackedSamples>(new PackedSamples(std::move(*file)));
}

/// Writes the full `last_`; only then readers are told of it. The appending thread alone changes
/// `last_` and `scales_`, so that it may read them without the lock.
Result<void> PackedSamples::put_block() {
  float peak = 0.0F;
  for (const float value : last_) peak = std::max(peak, std::abs(value));
  const float scale = peak > 0.0F ? peak / largest : 1.0F;
  std::array<std::int16_t, block_values> packed{};
  for (std::size_t i = 0; i < block_values; ++i) {
    packed[i] = static_cast<std::int16_t>(std::lround(last_[i] / scale));
  }
  const auto place = static_cast<std::int64_t>(scales_.size() * sizeof packed);
  auto written = file_->write(place, std::as_bytes(std::span(packed)));
  if (!written) return written;
  const std::lock_guard lock(mutex_);
  scales_.push_back(scale);
  last_.clear();
  return {};
}

Result<void> PackedSamples::append(std::span<const float> values) {
  while (!values.empty()) {
    const std::size_t count = std::min(values.size(), block_values - last_.size());
    {
      const std::lock_guard lock(mutex_);
      last_.insert(last_.end(), values.begin(),
                   values.begin() + static_cast<std::ptrdiff_t>(count));
    }
    values = values.subspan(count);
    if (last_.size() < block_values) continue;
    if (auto put = put_block(); !put) return put;
  }
  return {};
}

Result<void> PackedSamples::read(std::int64_t begin, std::span<float> out) const {
  std::array<std::int16_t, block_values> packed{};
  auto place = static_cast<std::size_t>(begin);
  while (!out.empty()) {
    const std::size_t block = place / block_values;
    const std::size_t first = place % block_values;
    const std::size_t count = std::min(out.size(), block_values - first);
    float scale = 0.0F;
    {
      const std::lock_guard lock(mutex_);
      if (block < scales_.size()) {
        scale = scales_[block];
      } else {
        LOWSTRIDE_EXPECTS(block == scales_.size() && first + count <= last_.size());
        std::copy_n(last_.begin() + static_cast<std::ptrdiff_t>(first), count, out.begin());
      }
    }
    if (scale > 0.0F) {
      const auto wanted = std::span(packed).first(count);
      auto got = file_->read(static_cast<std::int64_t>(place * sizeof(std::int16_t)),
                             std::as_writable_bytes(wanted));
      if (!got) return got;
      for (std::size_t i = 0; i < count; ++i) out[i] = scale * static_cast<float>(packed[i]);
    }
    out = out.subspan(count);
    place += count;
  }
  return {};
}

}  // namespace lowstride::audio
