#include "dsp/learned/convolution.hpp"

#include <algorithm>
#include <cstring>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t outs = 4;     // output channels at once
constexpr std::size_t vectors = 3;  // vectors of frames at once: 12 sums, 3 inputs, 1 weight

struct Job {
  const float* weights;
  const float* bias;
  const std::ptrdiff_t* row_map;
  const std::size_t* channel_lanes;
  const float* in;
  float* out;
  std::size_t in_stride, out_stride;
  std::size_t in_channels, out_channels, row_taps, time_taps, out_rows, dilation, frames;
  bool is_rectified;
};

template <std::size_t width>
struct Vector {
  using type __attribute__((vector_size(width * sizeof(float)))) = float;
  /// The same anywhere in memory.
  using loose
      __attribute__((vector_size(width * sizeof(float)), aligned(sizeof(float)), may_alias)) =
          float;
};

template <std::size_t width>
[[gnu::always_inline]] inline void convolve(const Job& job) {
  using V = typename Vector<width>::type;
  using Loose = typename Vector<width>::loose;
  constexpr std::size_t block = width * vectors;
  static_assert(block <= FrameQueue::slack_frames);
  const std::size_t groups = (job.out_channels + outs - 1) / outs;
  const std::size_t weights_per_row_tap = job.time_taps * outs;

  for (std::size_t first = 0; first < job.frames; first += block) {
    for (std::size_t row = 0; row < job.out_rows; ++row) {
      const std::ptrdiff_t* rows = job.row_map + row * job.row_taps;
      const float* weight = job.weights;
      for (std::size_t group = 0; group < groups; ++group) {
        // Only ever indexed by constants after unrolling, so that it stays in registers.
        V sum[outs][vectors];
#pragma GCC unroll 4
        for (std::size_t o = 0; o < outs; ++o) {
#pragma GCC unroll 3
          for (std::size_t v = 0; v < vectors; ++v) sum[o][v] = V{} + job.bias[group * outs + o];
        }
        for (std::size_t channel = 0; channel < job.in_channels; ++channel) {
          const float* lanes = job.in + job.channel_lanes[channel] * job.in_stride + first;
          for (std::size_t i = 0; i < job.row_taps; ++i, weight += weights_per_row_tap) {
            if (rows[i] < 0) continue;
            const float* x = lanes + static_cast<std::size_t>(rows[i]) * job.in_stride;
            for (std::size_t j = 0; j < job.time_taps; ++j) {
              const float* at = x + j * job.dilation;
              const V first_value = *reinterpret_cast<const Loose*>(at);
              const V second_value = *reinterpret_cast<const Loose*>(at + width);
              const V third_value = *reinterpret_cast<const Loose*>(at + 2 * width);
#pragma GCC unroll 4
              for (std::size_t o = 0; o < outs; ++o) {
                const float factor = weight[j * outs + o];
                sum[o][0] += first_value * factor;
                sum[o][1] += second_value * factor;
                sum[o][2] += third_value * factor;
              }
            }
          }
        }
#pragma GCC unroll 4
        for (std::size_t o = 0; o < outs; ++o) {
          if (group * outs + o >= job.out_channels) break;
          float* to = job.out + ((group * outs + o) * job.out_rows + row) * job.out_stride + first;
#pragma GCC unroll 3
          for (std::size_t v = 0; v < vectors; ++v) {
            const V value = job.is_rectified ? (sum[o][v] > 0.0F ? sum[o][v] : V{}) : sum[o][v];
            *reinterpret_cast<Loose*>(to + v * width) = value;
          }
        }
      }
    }
  }
}

[[gnu::target("avx2")]] void convolve_wide(const Job& job) { convolve<8>(job); }
void convolve_plain(const Job& job) { convolve<4>(job); }

}  // namespace

Convolution::Convolution(const Tensor& weight, const Tensor& bias,
                         const ConvolutionOptions& options)
    : out_channels_(weight.shape.at(0)),
      in_channels_(weight.shape.at(1)),
      row_taps_(weight.shape.size() == 4 ? weight.shape[2] : 1),
      time_taps_(weight.shape.back()),
      out_rows_(options.row_count),
      dilation_(options.time_dilation),
      delay_(options.time_dilation * (time_taps_ - 1) / 2),
      is_rectified_(options.is_rectified),
      is_residual_(options.is_residual),
      has_wide_vectors_(__builtin_cpu_supports("avx2") != 0),
      channel_lanes_(options.channel_lanes),
      input_(options.input_lane_count != 0 ? options.input_lane_count
                                           : in_channels_ * options.row_count) {
  LOWSTRIDE_EXPECTS(weight.values.size() == out_channels_ * in_channels_ * row_taps_ * time_taps_);
  LOWSTRIDE_EXPECTS(bias.values.size() == out_channels_ && time_taps_ % 2 == 1);
  LOWSTRIDE_EXPECTS(options.row_stride >= 1 && options.row_count >= 1);
  if (options.row_stride > 1) {
    LOWSTRIDE_EXPECTS(options.row_count >= row_taps_);
    out_rows_ = (options.row_count - row_taps_) / options.row_stride + 1;
  }
  LOWSTRIDE_EXPECTS(!is_residual_ || (out_channels_ == in_channels_ &&
                                      out_rows_ == options.row_count && channel_lanes_.empty()));
  if (channel_lanes_.empty()) {
    for (std::size_t c = 0; c < in_channels_; ++c) channel_lanes_.push_back(c * options.row_count);
  }
  LOWSTRIDE_EXPECTS(channel_lanes_.size() == in_channels_);
  LOWSTRIDE_EXPECTS(*std::max_element(channel_lanes_.begin(), channel_lanes_.end()) +
                        options.row_count <=
                    input_.lane_count());

  const auto rows = static_cast<std::ptrdiff_t>(options.row_count);
  const std::ptrdiff_t shift = options.row_stride > 1 || options.row_padding == RowPadding::circular
                                   ? 0
                                   : static_cast<std::ptrdiff_t>(row_taps_ - 1) / 2;
  for (std::size_t r = 0; r < out_rows_; ++r) {
    for (std::size_t i = 0; i < row_taps_; ++i) {
      std::ptrdiff_t row = static_cast<std::ptrdiff_t>(r * options.row_stride + i) - shift;
      if (options.row_padding == RowPadding::circular) row %= rows;
      row_map_.push_back(row >= 0 && row < rows ? row : -1);
    }
  }

  const std::size_t groups = (out_channels_ + outs - 1) / outs;
  const std::size_t taps = in_channels_ * row_taps_ * time_taps_;
  weights_.resize(groups * taps * outs);
  bias_.resize(groups * outs);
  for (std::size_t o = 0; o < out_channels_; ++o) {
    bias_[o] = bias.values[o];
    for (std::size_t k = 0; k < taps; ++k) {
      weights_[((o / outs) * taps + k) * outs + o % outs] = weight.values[o * taps + k];
    }
  }
  input_.grow_zeros(delay_);
}

void Convolution::run(FrameQueue& out, bool is_last) {
  LOWSTRIDE_EXPECTS(out.lane_count() == out_lane_count());
  if (is_last) input_.grow_zeros(delay_);
  if (input_.frame_count() <= 2 * delay_) return;
  const std::size_t frames = input_.frame_count() - 2 * delay_;
  const std::size_t first = out.grow(frames);
  const Job job{weights_.data(), bias_.data(),        row_map_.data(), channel_lanes_.data(),
                input_.lane(0),  out.lane(0) + first, input_.stride(), out.stride(),
                in_channels_,    out_channels_,       row_taps_,       time_taps_,
                out_rows_,       dilation_,           frames,          is_rectified_};
  if (has_wide_vectors_) {
    convolve_wide(job);
  } else {
    convolve_plain(job);
  }
  if (is_residual_) {
    for (std::size_t lane = 0; lane < out_lane_count(); ++lane) {
      const float* from = input_.lane(lane) + delay_;
      float* to = out.lane(lane) + first;
      for (std::size_t t = 0; t < frames; ++t) to[t] += from[t];
    }
  }
  input_.drop(frames);
}

}  // namespace lowstride::dsp
