#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

/// A dense table of floats; row = frame (or beat), column = bin. Row-major.
class Table {
 public:
  Table() = default;
  Table(std::size_t row_count, std::size_t column_count, float value = 0.0F)
      : column_count_(column_count), values_(row_count * column_count, value) {}

  [[nodiscard]] std::size_t column_count() const noexcept { return column_count_; }
  [[nodiscard]] std::size_t row_count() const noexcept {
    return column_count_ == 0 ? 0 : values_.size() / column_count_;
  }
  [[nodiscard]] bool empty() const noexcept { return values_.empty(); }

  /// One row. Requires `index < row_count()`.
  [[nodiscard]] std::span<float> row(std::size_t index) noexcept {
    LOWSTRIDE_EXPECTS(index < row_count());
    return std::span<float>(values_).subspan(index * column_count_, column_count_);
  }
  [[nodiscard]] std::span<const float> row(std::size_t index) const noexcept {
    LOWSTRIDE_EXPECTS(index < row_count());
    return std::span<const float>(values_).subspan(index * column_count_, column_count_);
  }

  /// Appends one row of exactly `column_count()` values.
  void append(std::span<const float> values) {
    LOWSTRIDE_EXPECTS(values.size() == column_count_);
    values_.insert(values_.end(), values.begin(), values.end());
  }

  [[nodiscard]] std::span<const float> values() const noexcept { return values_; }

  bool operator==(const Table&) const = default;

 private:
  std::size_t column_count_ = 0;
  std::vector<float> values_;
};

}  // namespace lowstride::dsp
