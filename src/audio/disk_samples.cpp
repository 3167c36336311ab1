#include "src/audio/disk_samples.hpp"

#include <algorithm>
#include <cstddef>
#include <utility>

namespace lowstride::audio {

DiskSamples::DiskSamples(std::unique_ptr<DiskFile> file) : file_(std::move(file)) {}

Result<std::unique_ptr<DiskSamples>> DiskSamples::create() {
  auto file = DiskFile::create();
  if (!file) return tl::unexpected(file.error());
  return std::unique_ptr<DiskSamples>(new DiskSamples(std::move(*file)));
}

Result<void> DiskSamples::append(std::span<const float> values) {
  const auto place = value_count_ * static_cast<std::int64_t>(sizeof(float));
  if (auto written = file_->write(place, std::as_bytes(values)); !written) return written;
  value_count_ += static_cast<std::int64_t>(values.size());
  return {};
}

Result<void> DiskSamples::read(std::int64_t begin, std::span<float> out) const {
  const auto size = static_cast<std::int64_t>(out.size());
  const std::int64_t first = std::clamp<std::int64_t>(begin, 0, value_count_);
  const std::int64_t last = std::clamp<std::int64_t>(begin + size, first, value_count_);
  if (first == last) {
    std::fill(out.begin(), out.end(), 0.0F);
    return {};
  }
  const auto lead = static_cast<std::size_t>(first - begin);
  const auto count = static_cast<std::size_t>(last - first);
  std::fill(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(lead), 0.0F);
  std::fill(out.begin() + static_cast<std::ptrdiff_t>(lead + count), out.end(), 0.0F);
  return file_->read(first * static_cast<std::int64_t>(sizeof(float)),
                     std::as_writable_bytes(out.subspan(lead, count)));
}

}  // namespace lowstride::audio
