#include "dsp/learned/weights.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string_view>

#include "dsp/learned/layout.hpp"

// Set by the assembler, see embedded_weights.S.
extern "C" {
extern const std::byte lowstride_ears_begin[];
extern const std::byte lowstride_ears_end[];
}

namespace lowstride::dsp {
namespace {

constexpr std::size_t most_values = 4'000'000;  // 8 MB; more is not one of our files

/// CRC-32 of ISO 3309: polynomial 0x04C11DB7 reflected, start and end complemented.
std::uint32_t crc32(std::span<const std::byte> bytes) noexcept {
  static constexpr auto table = [] {
    std::array<std::uint32_t, 256> entries{};
    for (std::uint32_t i = 0; i < 256; ++i) {
      std::uint32_t value = i;
      for (int bit = 0; bit < 8; ++bit) value = (value >> 1U) ^ ((value & 1U) * 0xEDB88320U);
      entries[i] = value;
    }
    return entries;
  }();
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const std::byte byte : bytes) {
    crc = table[(crc ^ std::to_integer<std::uint32_t>(byte)) & 0xFFU] ^ (crc >> 8U);
  }
  return ~crc;
}

/// IEEE 754 binary16; nothing for infinities and NaN.
std::optional<float> half_to_float(std::uint16_t half) noexcept {
  const std::uint32_t exponent = (half >> 10U) & 0x1FU;
  const std::uint32_t fraction = half & 0x3FFU;
  if (exponent == 31) return std::nullopt;
  const float magnitude = exponent == 0 ? std::ldexp(static_cast<float>(fraction), -24)
                                        : std::ldexp(static_cast<float>(fraction + 1024U),
                                                     static_cast<int>(exponent) - 25);
  return (half & 0x8000U) != 0 ? -magnitude : magnitude;
}

/// The header, line by line.
class HeaderReader {
 public:
  explicit HeaderReader(std::span<const std::byte> file)
      : text_(reinterpret_cast<const char*>(file.data()), file.size()) {}

  [[nodiscard]] std::optional<std::string_view> next_line() {
    const std::size_t end = text_.find('\n', position_);
    if (end == std::string_view::npos || end - position_ > 1000) return std::nullopt;
    const std::string_view line = text_.substr(position_, end - position_);
    position_ = end + 1;
    return line;
  }
  [[nodiscard]] std::size_t position() const noexcept { return position_; }

 private:
  std::string_view text_;
  std::size_t position_ = 0;
};

std::vector<std::string_view> words(std::string_view line) {
  std::vector<std::string_view> result;
  while (!line.empty()) {
    const std::size_t end = std::min(line.find(' '), line.size());
    result.push_back(line.substr(0, end));
    line.remove_prefix(std::min(end + 1, line.size()));
  }
  return result;
}

template <typename Number>
std::optional<Number> number(std::string_view word, int base = 10) {
  Number value{};
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value, base);
  if (error != std::errc{} || end != word.data() + word.size()) return std::nullopt;
  return value;
}

struct Entry {
  std::vector<std::size_t> shape;
  std::size_t offset = 0;
  std::size_t count = 0;
};

std::optional<std::pair<std::string, Entry>> read_entry(std::string_view line) {
  const auto parts = words(line);
  if (parts.size() < 5 || parts[0] != "tensor") return std::nullopt;
  const auto dimensions = number<std::size_t>(parts[2]);
  if (!dimensions || *dimensions == 0 || *dimensions > 4 || parts.size() != *dimensions + 4) {
    return std::nullopt;
  }
  Entry entry;
  entry.count = 1;
  for (std::size_t i = 0; i < *dimensions; ++i) {
    const auto size = number<std::size_t>(parts[3 + i]);
    if (!size || *size == 0 || *size > most_values) return std::nullopt;
    entry.shape.push_back(*size);
    entry.count *= *size;
    if (entry.count > most_values) return std::nullopt;
  }
  const auto offset = number<std::size_t>(parts.back());
  if (!offset || *offset > most_values) return std::nullopt;
  entry.offset = *offset;
  return std::pair{std::string(parts[1]), std::move(entry)};
}

WeightsError refuse(std::string why) {
  return {"the weights are damaged or not of this version (" + std::move(why) +
          "); restore the file that belongs to this version"};
}

/// Every layer's tensors in their shapes, and no others.
std::optional<WeightsError> check_layout(const std::map<std::string, Entry>& entries) {
  const auto has = [&entries](const std::string& name, const std::vector<std::size_t>& shape) {
    const auto found = entries.find(name);
    return found != entries.end() && found->second.shape == shape;
  };
  for (const LayerShape& layer : layer_shapes()) {
    const std::string name(layer.name);
    for (const auto& [part, shape] :
         {std::pair{name + ".weight", layer.weight_shape()},
          std::pair{name + ".bias", std::vector<std::size_t>{layer.out_channels}}}) {
      if (!has(part, shape)) return refuse("tensor " + part + " is missing or of another shape");
    }
  }
  if (entries.size() != 2 * layer_shapes().size()) return refuse("a tensor too many");
  return std::nullopt;
}

}  // namespace

std::variant<Weights, WeightsError> read_weights(std::span<const std::byte> file) {
  HeaderReader header(file);
  if (header.next_line() != "LOWSTRIDE EARS 1") {
    return refuse("the first line is not LOWSTRIDE EARS 1");
  }
  Weights weights;
  for (const auto& [key, value] : {std::pair{"version ", &weights.version},
                                   {"licence ", &weights.licence},
                                   {"recipe ", &weights.recipe},
                                   {"commit ", &weights.commit}}) {
    const auto line = header.next_line();
    if (!line || !line->starts_with(key))
      return refuse("no line that begins with " + std::string(key));
    *value = line->substr(std::string_view(key).size());
    if (value->empty()) return refuse("nothing after " + std::string(key));
  }

  std::map<std::string, Entry> entries;
  std::vector<std::string_view> data_line;
  while (data_line.empty()) {
    const auto line = header.next_line();
    if (!line) return refuse("the header has no end");
    if (line->starts_with("data ")) {
      data_line = words(*line);
      break;
    }
    auto entry = read_entry(*line);
    if (!entry) return refuse("a line that names no tensor");
    if (!entries.insert(std::move(*entry)).second) return refuse("a tensor named twice");
  }
  if (data_line.size() != 3) return refuse("a data line without count and checksum");
  const auto count = number<std::size_t>(data_line[1]);
  const auto checksum = number<std::uint32_t>(data_line[2], 16);
  if (!count || *count > most_values || !checksum || data_line[2].size() != 8) {
    return refuse("a data line without count and checksum");
  }
  const auto data = file.subspan(header.position());
  if (data.size() != 2 * *count) {
    return refuse(data.size() < 2 * *count ? "it is cut short" : "there is more than it announces");
  }
  if (crc32(data) != *checksum) return refuse("the checksum differs");
  if (auto error = check_layout(entries)) return *error;

  std::vector<std::pair<std::size_t, std::size_t>> places;
  places.reserve(entries.size());
  for (const auto& [name, entry] : entries) places.emplace_back(entry.offset, entry.count);
  std::sort(places.begin(), places.end());
  std::size_t used = 0;
  for (const auto& [offset, size] : places) {
    if (offset != used) return refuse("tensors that overlap or leave gaps");
    used += size;
  }
  if (used != *count) return refuse("tensors that do not fill the data");

  for (const auto& [name, entry] : entries) {
    Tensor tensor{entry.shape, {}};
    tensor.values.reserve(entry.count);
    for (std::size_t i = entry.offset; i < entry.offset + entry.count; ++i) {
      const auto low = std::to_integer<unsigned>(data[2 * i]);
      const auto high = std::to_integer<unsigned>(data[2 * i + 1]);
      const auto value = half_to_float(static_cast<std::uint16_t>(low | high << 8U));
      if (!value) return refuse("tensor " + name + " holds a value that is not finite");
      tensor.values.push_back(*value);
    }
    weights.tensors.emplace(name, std::move(tensor));
  }
  return weights;
}

std::variant<Weights, WeightsError> embedded_weights() {
  return read_weights({lowstride_ears_begin, lowstride_ears_end});
}

}  // namespace lowstride::dsp
