#include "dsp/base/probability_table.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace lowstride::dsp {
namespace {

constexpr float steps = 65535.0F;
constexpr std::uint32_t most_narrow = 255;

std::uint32_t to_step(float value) noexcept {
  return static_cast<std::uint32_t>(std::lround(std::clamp(value, 0.0F, 1.0F) * steps));
}
float from_step(std::uint32_t step) noexcept { return static_cast<float>(step) / steps; }

std::size_t count_bits(std::uint64_t word) noexcept {
  return static_cast<std::size_t>(std::popcount(word));
}

std::uint32_t step_at(std::span<const std::uint8_t> bytes, std::size_t place,
                      bool is_wide) noexcept {
  std::uint32_t step = bytes[place];
  if (is_wide) step |= static_cast<std::uint32_t>(bytes[place + 1]) << 8U;
  return step;
}

}  // namespace

ProbabilityTable::ProbabilityTable(std::size_t column_count)
    : column_count_(column_count), words_((column_count + 63) / 64) {
  LOWSTRIDE_EXPECTS(column_count > 0 && column_count <= most_columns);
}

float ProbabilityTable::rounded(float value) noexcept { return from_step(to_step(value)); }

void ProbabilityTable::append(std::span<const float> values) {
  LOWSTRIDE_EXPECTS(values.size() == column_count_);
  std::array<std::uint64_t, 2 * most_words> marks{};
  std::array<std::uint8_t, 2 * most_columns> bytes{};
  std::size_t count = 0;
  for (std::size_t c = 0; c < values.size(); ++c) {
    const std::uint32_t step = to_step(values[c]);
    if (step == 0) continue;
    const std::uint64_t bit = std::uint64_t{1} << (c % 64);
    marks[c / 64] |= bit;
    bytes[count++] = static_cast<std::uint8_t>(step & 0xFFU);
    if (step <= most_narrow) continue;
    marks[words_ + c / 64] |= bit;
    bytes[count++] = static_cast<std::uint8_t>(step >> 8U);
  }
  append_to_block({std::span(marks).first(mark_count()), std::span(bytes).first(count)});
}

void ProbabilityTable::append_to_block(const PackedRow& row) {
  if (row_count_ % block_rows == 0) {
    if (!blocks_.empty()) blocks_.back().bytes.shrink_to_fit();
    blocks_.emplace_back();
    blocks_.back().marks.reserve(block_rows * mark_count());
    blocks_.back().begins.reserve(block_rows);
  }
  Block& block = blocks_.back();
  block.begins.push_back(static_cast<std::uint16_t>(block.bytes.size()));
  block.marks.insert(block.marks.end(), row.marks.begin(), row.marks.end());
  block.bytes.insert(block.bytes.end(), row.bytes.begin(), row.bytes.end());
  ++row_count_;
}

void ProbabilityTable::append_rows(const ProbabilityTable& other, std::size_t begin,
                                   std::size_t end) {
  LOWSTRIDE_EXPECTS(other.column_count_ == column_count_);
  LOWSTRIDE_EXPECTS(begin <= end && end <= other.row_count_);
  for (std::size_t row = begin; row < end; ++row) append_to_block(other.packed_row(row));
}

ProbabilityTable::PackedRow ProbabilityTable::packed_row(std::size_t row) const noexcept {
  LOWSTRIDE_EXPECTS(row < row_count_);
  const Block& block = blocks_[row / block_rows];
  const std::size_t place = row % block_rows;
  const std::size_t begin = block.begins[place];
  const std::size_t end =
      place + 1 < block.begins.size() ? block.begins[place + 1] : block.bytes.size();
  return {std::span(block.marks).subspan(place * mark_count(), mark_count()),
          std::span(block.bytes).subspan(begin, end - begin)};
}

ProbabilityTable::Row ProbabilityTable::row(std::size_t row) const noexcept {
  const PackedRow packed = packed_row(row);
  Row result;
  result.size_ = column_count_;
  std::size_t place = 0;
  for (std::size_t word = 0; word < words_; ++word) {
    const std::uint64_t wide = packed.marks[words_ + word];
    for (std::uint64_t left = packed.marks[word]; left != 0; left &= left - 1) {
      const auto bit = static_cast<std::size_t>(std::countr_zero(left));
      const bool is_wide = (wide >> bit & 1U) != 0;
      result.values_[64 * word + bit] = from_step(step_at(packed.bytes, place, is_wide));
      place += is_wide ? 2 : 1;
    }
  }
  return result;
}

float ProbabilityTable::at(std::size_t row, std::size_t column) const noexcept {
  LOWSTRIDE_EXPECTS(row < row_count_ && column < column_count_);
  const Block& block = blocks_[row / block_rows];
  const std::size_t place = row % block_rows;
  const std::uint64_t* marks = block.marks.data() + place * mark_count();
  const std::size_t last = column / 64;
  const std::uint64_t bit = std::uint64_t{1} << (column % 64);
  if ((marks[last] & bit) == 0) return 0.0F;
  std::size_t before = 0;
  for (std::size_t word = 0; word < last; ++word) {
    before += count_bits(marks[word]) + count_bits(marks[words_ + word]);
  }
  before += count_bits(marks[last] & (bit - 1)) + count_bits(marks[words_ + last] & (bit - 1));
  return from_step(step_at(std::span(block.bytes), block.begins[place] + before,
                           (marks[words_ + last] & bit) != 0));
}

std::optional<std::size_t> ProbabilityTable::byte_count(
    std::span<const std::uint64_t> marks) const noexcept {
  LOWSTRIDE_EXPECTS(marks.size() == mark_count());
  std::size_t count = 0;
  for (std::size_t word = 0; word < words_; ++word) {
    const std::uint64_t filled = marks[word];
    const std::uint64_t wide = marks[words_ + word];
    const std::size_t columns = std::min<std::size_t>(64, column_count_ - 64 * word);
    const std::uint64_t there =
        columns == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << columns) - 1;
    if ((filled & ~there) != 0 || (wide & ~filled) != 0) return std::nullopt;
    count += count_bits(filled) + count_bits(wide);
  }
  return count;
}

bool ProbabilityTable::append_packed(const PackedRow& row) {
  if (row.marks.size() != mark_count() || byte_count(row.marks) != row.bytes.size()) return false;
  std::size_t place = 0;
  for (std::size_t word = 0; word < words_; ++word) {
    const std::uint64_t wide = row.marks[words_ + word];
    for (std::uint64_t left = row.marks[word]; left != 0; left &= left - 1) {
      const bool is_wide = (wide >> static_cast<unsigned>(std::countr_zero(left)) & 1U) != 0;
      const std::uint32_t step = step_at(row.bytes, place, is_wide);
      if (step == 0 || is_wide != (step > most_narrow)) return false;
      place += is_wide ? 2 : 1;
    }
  }
  append_to_block(row);
  return true;
}

}  // namespace lowstride::dsp
