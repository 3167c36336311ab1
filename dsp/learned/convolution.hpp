#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "dsp/learned/frame_queue.hpp"
#include "dsp/learned/weights.hpp"

namespace lowstride::dsp {

enum class RowPadding : std::uint8_t {
  zeros,     // rows below the first and above the last read 0
  circular,  // rows wrap round; tap q of row p reads row (p + q) mod row_count
};

/// How a layer goes over its rows and through time. A 1-d layer has one row.
struct ConvolutionOptions {
  std::size_t row_count = 1;   // of the input
  std::size_t row_stride = 1;  // 1 keeps the rows (zeros or circular); more reads whole steps only
  RowPadding row_padding = RowPadding::zeros;
  std::size_t time_dilation = 1;
  bool is_rectified = true;  // max(0, x) at the end
  bool is_residual = false;  // afterwards the layer's own input is added
  // Lane of row 0 of each input channel; empty: channel * row_count.
  std::vector<std::size_t> channel_lanes = {};
  std::size_t input_lane_count = 0;  // 0: in channels * row_count
};

/// One convolution layer that runs through a recording: frames go into `input()`, and `run` appends
/// to the next queue what can be computed. Both ends of the recording are padded with zeros.
///
///   out(o, r, t) = bias(o) + sum w(o, c, i, j) in(c, r stride + i - (taps_r - 1) / 2,
///                                                    t + dilation (j - (taps_t - 1) / 2))
///
/// (with a stride there is no padding of rows and no shift). Output lane = o * out rows + r.
/// Vectors run over time, four output channels at once, in plain single-precision multiplications
/// and additions in one order: AVX2 where the processor has it, SSE2 otherwise, the same bits from
/// both and for any cut of the recording into runs.
class Convolution {
 public:
  /// `weight` [out][in][row taps][time taps] or [out][in][time taps]; `bias` [out].
  Convolution(const Tensor& weight, const Tensor& bias, const ConvolutionOptions& options);

  [[nodiscard]] FrameQueue& input() noexcept { return input_; }
  [[nodiscard]] std::size_t out_lane_count() const noexcept { return out_channels_ * out_rows_; }
  /// Frames that output lags behind input: dilation (taps - 1) / 2.
  [[nodiscard]] std::size_t delay_frames() const noexcept { return delay_; }

  /// Computes what the input allows and appends it to `out`. `is_last`: the recording ends here.
  void run(FrameQueue& out, bool is_last);

  /// For the test that both kinds of vectors agree.
  void use_plain_vectors() noexcept { has_wide_vectors_ = false; }

 private:
  std::size_t out_channels_, in_channels_, row_taps_, time_taps_, out_rows_;
  std::size_t dilation_, delay_;
  bool is_rectified_, is_residual_, has_wide_vectors_;
  std::vector<float> weights_;           // [out / 4][in][row tap][time tap][4]
  std::vector<float> bias_;              // [out rounded up to 4]
  std::vector<std::ptrdiff_t> row_map_;  // [out row][row tap] input row, -1 = zeros
  std::vector<std::size_t> channel_lanes_;
  FrameQueue input_;
};

}  // namespace lowstride::dsp
