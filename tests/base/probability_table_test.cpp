#include "dsp/base/probability_table.hpp"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

std::vector<std::vector<float>> random_rows(std::size_t rows, std::size_t columns, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> uniform(0.0F, 1.0F);
  std::vector<std::vector<float>> result(rows, std::vector<float>(columns));
  for (auto& row : result) {
    for (float& value : row) value = std::pow(uniform(random), 12.0F);
  }
  return result;
}

class Widths : public testing::TestWithParam<std::size_t> {};

INSTANTIATE_TEST_SUITE_P(ProbabilityTable, Widths,
                         testing::Values(1U, 12U, 45U, 46U, 63U, 64U, 65U, 128U, 169U, 192U));

TEST_P(Widths, every_value_comes_back_as_the_nearest_step) {
  const auto rows = random_rows(300, GetParam(), 3);
  ProbabilityTable table(GetParam());
  for (const auto& row : rows) table.append(row);
  ASSERT_EQ(table.row_count(), rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto row = table.row(i);
    ASSERT_EQ(row.size(), GetParam());
    for (std::size_t c = 0; c < GetParam(); ++c) {
      // The sum by hand: the nearest multiple of 1/65535.
      const float expected = static_cast<float>(std::lround(rows[i][c] * 65535.0F)) / 65535.0F;
      ASSERT_EQ(row[c], expected) << i << ' ' << c;
      ASSERT_EQ(table.at(i, c), expected) << i << ' ' << c;
      ASSERT_EQ(ProbabilityTable::rounded(rows[i][c]), expected);
    }
  }
}

TEST_P(Widths, rows_go_from_table_to_table_as_they_are_kept) {
  const auto rows = random_rows(300, GetParam(), 4);
  ProbabilityTable table(GetParam());
  for (const auto& row : rows) table.append(row);
  ProbabilityTable copy(GetParam());
  copy.append_rows(table, 0, 130);
  for (std::size_t i = 130; i < rows.size(); ++i) {
    ASSERT_TRUE(copy.append_packed(table.packed_row(i)));
  }
  EXPECT_EQ(copy, table);
  ProbabilityTable part(GetParam());
  part.append_rows(table, 5, 7);
  EXPECT_NE(part, table);
  EXPECT_EQ(part.at(1, 0), table.at(6, 0));
}

TEST(ProbabilityTable, keeps_the_ends_of_the_range_and_clips_what_lies_outside) {
  ProbabilityTable table(6);
  table.append(std::vector<float>{0.0F, 1.0F, -0.5F, 1.5F, 255.0F / 65535.0F, 256.0F / 65535.0F});
  const auto row = table.row(0);
  EXPECT_EQ(row[0], 0.0F);
  EXPECT_EQ(row[1], 1.0F);
  EXPECT_EQ(row[2], 0.0F);
  EXPECT_EQ(row[3], 1.0F);
  EXPECT_EQ(row[4], 255.0F / 65535.0F);
  EXPECT_EQ(row[5], 256.0F / 65535.0F);
  // Two wide values, one wide by one step, one narrow: 2 + 2 + 2 + 1 bytes.
  EXPECT_EQ(table.packed_row(0).bytes.size(), 7U);
}

TEST(ProbabilityTable, refuses_packed_rows_that_no_table_makes) {
  ProbabilityTable table(12);
  const auto adds = [&](std::vector<std::uint64_t> marks, std::vector<std::uint8_t> bytes) {
    return table.append_packed({marks, bytes});
  };
  EXPECT_TRUE(adds({0b11, 0b10}, {7, 0, 1}));
  EXPECT_FALSE(adds({0b11, 0b10}, {7, 0})) << "a byte is missing";
  EXPECT_FALSE(adds({0b11, 0b10}, {7, 0, 1, 1})) << "a byte too many";
  EXPECT_FALSE(adds({0b1, 0b10}, {7, 0, 1})) << "wide, but not there";
  EXPECT_FALSE(adds({std::uint64_t{1} << 12U, 0}, {7})) << "no such column";
  EXPECT_FALSE(adds({0b1, 0}, {0})) << "0 is written by its mark";
  EXPECT_FALSE(adds({0b1, 0b1}, {7, 0})) << "wide without need";
  EXPECT_FALSE(adds({0b1}, {7})) << "marks are missing";
  EXPECT_EQ(table.row_count(), 1U);
  EXPECT_EQ(table.at(0, 0), 7.0F / 65535.0F);
  EXPECT_EQ(table.at(0, 1), 256.0F / 65535.0F);
}

}  // namespace
}  // namespace lowstride::dsp
