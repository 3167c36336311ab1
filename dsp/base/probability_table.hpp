#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {

/// A table of probabilities that takes little memory: each value is kept as a multiple of 1/65535,
/// and what is next to nothing takes next to no room. Rows are added at the end and read in any
/// order. A row of w columns takes 2 bytes, 2 bits a column, and a byte for every value up to
/// 255/65535, two for every greater one, none for 0. Any number of threads may read.
class ProbabilityTable {
 public:
  static constexpr std::size_t most_columns = 192;

  /// One row, unpacked.
  class Row {
   public:
    [[nodiscard]] std::size_t size() const noexcept { return size_; }
    [[nodiscard]] float operator[](std::size_t column) const noexcept { return values_[column]; }
    [[nodiscard]] const float* begin() const noexcept { return values_.data(); }
    [[nodiscard]] const float* end() const noexcept { return values_.data() + size_; }

   private:
    friend class ProbabilityTable;
    std::array<float, most_columns> values_{};
    std::size_t size_ = 0;
  };

  /// One row as it is kept. Valid until a row is added.
  struct PackedRow {
    /// Bit c % 64 of word c / 64: column c is not 0; in the second half of the words: it takes two
    /// bytes.
    std::span<const std::uint64_t> marks;
    /// The values that are not 0, in order of columns, low byte first.
    std::span<const std::uint8_t> bytes;
  };

  ProbabilityTable() = default;
  /// No rows yet. Requires `0 < column_count <= most_columns`.
  explicit ProbabilityTable(std::size_t column_count);

  /// The nearest value that a table keeps; below 0 counts as 0, above 1 as 1.
  [[nodiscard]] static float rounded(float value) noexcept;

  [[nodiscard]] std::size_t column_count() const noexcept { return column_count_; }
  [[nodiscard]] std::size_t row_count() const noexcept { return row_count_; }
  [[nodiscard]] bool empty() const noexcept { return row_count_ == 0; }
  /// 64-bit words in `PackedRow::marks`.
  [[nodiscard]] std::size_t mark_count() const noexcept { return 2 * words_; }

  /// Adds a row. Requires `values.size() == column_count()`.
  void append(std::span<const float> values);

  /// One row. Requires `row < row_count()`.
  [[nodiscard]] Row row(std::size_t row) const noexcept;
  /// One value. Requires `row < row_count()`, `column < column_count()`.
  [[nodiscard]] float at(std::size_t row, std::size_t column) const noexcept;

  /// Requires `row < row_count()`.
  [[nodiscard]] PackedRow packed_row(std::size_t row) const noexcept;
  /// How many bytes belong to these marks, or nothing when no table makes such marks. Requires
  /// `marks.size() == mark_count()`.
  [[nodiscard]] std::optional<std::size_t> byte_count(
      std::span<const std::uint64_t> marks) const noexcept;
  /// Adds a row as another table with as many columns keeps it. False, and nothing added, when no
  /// table keeps such a row.
  [[nodiscard]] bool append_packed(const PackedRow& row);
  /// Adds rows [begin, end) of another table. Requires as many columns and
  /// `begin <= end <= other.row_count()`.
  void append_rows(const ProbabilityTable& other, std::size_t begin, std::size_t end);

  bool operator==(const ProbabilityTable&) const = default;

 private:
  static constexpr std::size_t block_rows = 128;
  static constexpr std::size_t most_words = most_columns / 64;
  static_assert(block_rows * most_columns * 2 <= 65535, "places in a block are 16 bits wide");

  /// Rows that lie together, so that a table grows without being copied.
  struct Block {
    std::vector<std::uint64_t> marks;   // [row][mark_count]
    std::vector<std::uint16_t> begins;  // [row]: where its bytes begin
    std::vector<std::uint8_t> bytes;

    bool operator==(const Block&) const = default;
  };

  void append_to_block(const PackedRow& row);

  std::size_t column_count_ = 0;
  std::size_t words_ = 0;  // for one bit a column
  std::size_t row_count_ = 0;
  std::vector<Block> blocks_;
};

}  // namespace lowstride::dsp
