#include "dsp/learned/weights.hpp"

#include <algorithm>
#include <bit>
#include <cstdint>
#include <cstdio>
#include <limits>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/learned/made_up_weights.hpp"

namespace lowstride::dsp {
namespace {

/// CRC-32 bit by bit, not by table. Check value of the catalogue of parametrised CRC algorithms
/// (CRC-32/ISO-HDLC): "123456789" gives CBF43926.
std::uint32_t slow_crc32(const std::string& bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const char byte : bytes) {
    crc ^= static_cast<unsigned char>(byte);
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1U) != 0 ? (crc >> 1U) ^ 0xEDB88320U : crc >> 1U;
  }
  return ~crc;
}

/// binary16 of a value that is one, by search of its definition: sign, 2^(e-15), 1 + f / 1024.
std::uint16_t to_half(float value) {
  const std::uint32_t bits = std::bit_cast<std::uint32_t>(value);
  const auto exponent = static_cast<int>((bits >> 23U) & 0xFFU) - 127 + 15;
  const auto sign = static_cast<std::uint16_t>((bits >> 16U) & 0x8000U);
  if (exponent <= 0) return sign;
  return static_cast<std::uint16_t>(sign | (exponent << 10) | ((bits >> 13U) & 0x3FFU));
}

struct File {
  std::string header;  // up to the data line
  std::string data;

  [[nodiscard]] std::string text() const {
    char line[64];
    std::snprintf(line, sizeof line, "data %zu %08x\n", data.size() / 2, slow_crc32(data));
    return header + line + data;
  }
};

File good_file() {
  File file;
  std::ostringstream header;
  header << "LOWSTRIDE EARS 1\nversion 7\nlicence CC0-1.0\nrecipe two words\ncommit abc\n";
  std::size_t offset = 0;
  for (const auto& [name, tensor] : made_up_weights().tensors) {
    header << "tensor " << name << ' ' << tensor.shape.size();
    for (const std::size_t size : tensor.shape) header << ' ' << size;
    header << ' ' << offset << '\n';
    for (const float value : tensor.values) {
      const std::uint16_t half = to_half(value);
      file.data += static_cast<char>(half & 0xFFU);
      file.data += static_cast<char>(half >> 8U);
    }
    offset += tensor.values.size();
  }
  file.header = header.str();
  return file;
}

std::variant<Weights, WeightsError> read(const std::string& text) {
  return read_weights(std::as_bytes(std::span(text)));
}

std::string refusal(const std::string& text) {
  const auto result = read(text);
  const auto* error = std::get_if<WeightsError>(&result);
  return error == nullptr ? "" : error->message;
}

TEST(Weights, reads_what_was_written) {
  ASSERT_EQ(slow_crc32("123456789"), 0xCBF43926U);
  const auto result = read(good_file().text());
  const auto* weights = std::get_if<Weights>(&result);
  ASSERT_NE(weights, nullptr) << std::get<WeightsError>(result).message;
  EXPECT_EQ(weights->version, "7");
  EXPECT_EQ(weights->licence, "CC0-1.0");
  EXPECT_EQ(weights->recipe, "two words");
  EXPECT_EQ(weights->commit, "abc");
  const Weights expected = made_up_weights();
  ASSERT_EQ(weights->tensors.size(), expected.tensors.size());
  for (const auto& [name, tensor] : expected.tensors) {
    const Tensor& read_tensor = weights->tensors.at(name);
    ASSERT_EQ(read_tensor.shape, tensor.shape) << name;
    for (std::size_t i = 0; i < tensor.values.size(); ++i) {
      // binary16 keeps eleven bits; 2^-14 is its smallest normal number.
      ASSERT_NEAR(read_tensor.values[i], tensor.values[i],
                  std::max(std::abs(tensor.values[i]) / 1024.0F, 6.2e-5F))
          << name;
    }
  }
}

TEST(Weights, knows_small_and_negative_halves) {
  // IEEE 754-2008, binary16: 0x3C00 = 1, 0xC000 = -2, 0x0001 = 2^-24, 0x7BFF = 65504, 0x8000 = -0.
  File file = good_file();
  const std::string halves{'\x00', '\x3C', '\x00', '\xC0', '\x01',
                           '\x00', '\xFF', '\x7B', '\x00', '\x80'};
  file.data.replace(0, halves.size(), halves);
  const auto result = read(file.text());
  ASSERT_TRUE(std::holds_alternative<Weights>(result));
  // The first tensor of the file is the first by name.
  const auto& values = std::get<Weights>(result).tensors.begin()->second.values;
  EXPECT_EQ(std::vector<float>(values.begin(), values.begin() + 5),
            (std::vector<float>{1.0F, -2.0F, 0x1p-24F, 65504.0F, -0.0F}));
}

TEST(Weights, refuses_any_damaged_header_line) {
  const File file = good_file();
  const std::string text = file.text();
  std::size_t line_begin = 0;
  std::size_t line_count = 0;
  const std::size_t data_begin = text.size() - file.data.size();
  while (line_begin < data_begin) {
    const std::size_t line_end = text.find('\n', line_begin);
    std::string without = text;
    without.erase(line_begin, line_end + 1 - line_begin);
    EXPECT_NE(refusal(without), "") << "without line " << line_count;
    std::string broken = text;
    broken[line_begin] = '#';
    EXPECT_NE(refusal(broken), "") << "line " << line_count << " begins with #";
    line_begin = line_end + 1;
    ++line_count;
  }
  EXPECT_EQ(line_count, 5 + 2 * layer_shapes().size() + 1);
}

TEST(Weights, refuses_flipped_cut_and_added_bytes) {
  const File file = good_file();
  const std::string text = file.text();
  for (const std::size_t back : {1UL, 1000UL, file.data.size()}) {
    std::string flipped = text;
    flipped[text.size() - back] = static_cast<char>(flipped[text.size() - back] ^ 0x10);
    EXPECT_NE(refusal(flipped).find("checksum"), std::string::npos) << back;
  }
  EXPECT_NE(refusal(text.substr(0, text.size() - 1)).find("short"), std::string::npos);
  EXPECT_NE(refusal(text.substr(0, text.size() / 2)), "");
  EXPECT_NE(refusal(text.substr(0, 30)), "");
  EXPECT_NE(refusal(""), "");
  EXPECT_NE(refusal(text + "x"), "");
}

TEST(Weights, refuses_shapes_values_and_names_that_do_not_fit) {
  const auto with = [](const std::string& from, const std::string& to) {
    File file = good_file();
    const std::size_t at = file.header.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    file.header.replace(at, from.size(), to);
    return refusal(file.text());
  };
  EXPECT_NE(with("EARS 1", "EARS 2"), "");
  EXPECT_NE(with("tensor beat.d1.bias 1 48 ", "tensor beat.d1.bias 1 41 "), "");
  EXPECT_NE(with("tensor beat.d1.bias 1 48 ", "tensor beat.dx.bias 1 48 "), "");
  EXPECT_NE(with("tensor beat.d1.bias 1 48 ", "tensor beat.d1.bias 1 48 9"), "") << "offset";
  EXPECT_NE(with("tensor beat.d1.bias 1 48 ", "tensor beat.d1.bias 1 99999999999999999999 "), "");
  EXPECT_NE(with("tensor beat.d1.bias 1 48 ", "tensor beat.d2.bias 1 48 "), "") << "twice";
  File infinite = good_file();
  infinite.data.replace(0, 2, std::string{'\x00', '\x7C'});
  EXPECT_NE(refusal(infinite.text()).find("finite"), std::string::npos);
}

}  // namespace
}  // namespace lowstride::dsp
