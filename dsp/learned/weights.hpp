#pragma once

#include <cstddef>
#include <map>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace lowstride::dsp {

/// One array of a weights file, row-major.
struct Tensor {
  std::vector<std::size_t> shape;
  std::vector<float> values;  // product of `shape`

  bool operator==(const Tensor&) const = default;
};

/// What the learned ears know. Checked against the nets' layers when read: a `Weights` value from
/// `read_weights` always fits.
struct Weights {
  std::string version;
  std::string licence;
  std::string recipe;  // which training run
  std::string commit;  // of the training code
  std::map<std::string, Tensor> tensors;

  bool operator==(const Weights&) const = default;
};

/// Why a weights file was refused: one sentence, without the file's name.
struct WeightsError {
  std::string message;
};

/// Reads a weights file. Format, all lines ended by one newline:
///   LOWSTRIDE EARS 1
///   version TEXT · licence TEXT · recipe TEXT · commit TEXT      (one line each, in this order)
///   tensor NAME NDIM D0 D1 … OFFSET                              (OFFSET in values)
///   data COUNT CRC32HEX
/// then COUNT IEEE 754 binary16 values, little-endian, and nothing after them. The checksum is the
/// CRC-32 of zip and PNG (ISO 3309) over the bytes after the last newline of the header.
/// Refused: a damaged or cut file, another format number, values that are not finite, tensors that
/// are missing, foreign or of another shape than the nets have.
[[nodiscard]] std::variant<Weights, WeightsError> read_weights(std::span<const std::byte> file);

/// The weights that are built into this library.
[[nodiscard]] std::variant<Weights, WeightsError> embedded_weights();

}  // namespace lowstride::dsp
