#include "dsp/learned/convolution.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <gtest/gtest.h>

#include "tests/learned/made_up_weights.hpp"

namespace lowstride::dsp {
namespace {

struct Case {
  std::vector<std::size_t> shape;  // of the weight
  ConvolutionOptions options;
};

Tensor random_tensor(std::vector<std::size_t> shape, Sequence& sequence) {
  std::size_t count = 1;
  for (const std::size_t size : shape) count *= size;
  Tensor tensor{std::move(shape), {}};
  for (std::size_t i = 0; i < count; ++i) tensor.values.push_back(sequence.next());
  return tensor;
}

/// The definition, term by term, in double precision.
std::vector<double> by_definition(const Case& layer, const Tensor& weight, const Tensor& bias,
                                  const std::vector<float>& in, std::size_t frames) {
  const auto outs = weight.shape[0], ins = weight.shape[1];
  const auto row_taps = weight.shape.size() == 4 ? weight.shape[2] : 1;
  const auto time_taps = weight.shape.back();
  const auto& options = layer.options;
  const bool is_circular = options.row_padding == RowPadding::circular;
  const std::size_t out_rows = options.row_stride == 1
                                   ? options.row_count
                                   : (options.row_count - row_taps) / options.row_stride + 1;
  std::vector<double> out;
  for (std::size_t o = 0; o < outs; ++o) {
    for (std::size_t r = 0; r < out_rows; ++r) {
      for (std::size_t t = 0; t < frames; ++t) {
        double sum = static_cast<double>(bias.values[o]);
        for (std::size_t c = 0; c < ins; ++c) {
          for (std::size_t i = 0; i < row_taps; ++i) {
            for (std::size_t j = 0; j < time_taps; ++j) {
              long row = static_cast<long>(r * options.row_stride + i);
              if (options.row_stride == 1 && !is_circular)
                row -= (static_cast<long>(row_taps) - 1) / 2;
              if (is_circular) row %= static_cast<long>(options.row_count);
              const long time = static_cast<long>(t) +
                                static_cast<long>(options.time_dilation) *
                                    (static_cast<long>(j) - (static_cast<long>(time_taps) - 1) / 2);
              if (row < 0 || row >= static_cast<long>(options.row_count) || time < 0 ||
                  time >= static_cast<long>(frames)) {
                continue;
              }
              const auto lane = c * options.row_count + static_cast<std::size_t>(row);
              const auto tap = ((o * ins + c) * row_taps + i) * time_taps + j;
              sum += static_cast<double>(weight.values[tap]) *
                     static_cast<double>(in[lane * frames + static_cast<std::size_t>(time)]);
            }
          }
        }
        if (options.is_rectified) sum = std::max(0.0, sum);
        if (options.is_residual) {
          sum += static_cast<double>(in[(o * options.row_count + r) * frames + t]);
        }
        out.push_back(sum);
      }
    }
  }
  return out;
}

/// Runs the layer with the recording cut into pieces of `piece` frames.
std::vector<float> run_in_pieces(Convolution& layer, const std::vector<float>& in,
                                 std::size_t frames, std::size_t piece) {
  FrameQueue out(layer.out_lane_count());
  FrameQueue& input = layer.input();
  for (std::size_t begin = 0; begin < frames; begin += piece) {
    const std::size_t count = std::min(piece, frames - begin);
    const std::size_t first = input.grow(count);
    for (std::size_t lane = 0; lane < input.lane_count(); ++lane) {
      std::copy_n(in.begin() + static_cast<std::ptrdiff_t>(lane * frames + begin), count,
                  input.lane(lane) + first);
    }
    layer.run(out, begin + count == frames);
  }
  std::vector<float> result;
  EXPECT_EQ(out.frame_count(), frames);
  for (std::size_t lane = 0; lane < out.lane_count(); ++lane) {
    result.insert(result.end(), out.lane(lane), out.lane(lane) + out.frame_count());
  }
  return result;
}

const std::vector<Case> cases{
    {{5, 3, 3, 3}, {.row_count = 7}},
    {{8, 2, 5, 3}, {.row_count = 6, .is_rectified = false}},
    {{4, 3, 3, 3}, {.row_count = 12, .row_stride = 3}},
    {{6, 6, 3, 5}, {.row_count = 5, .time_dilation = 4, .is_residual = true}},
    {{3, 2, 12, 1}, {.row_count = 12, .row_padding = RowPadding::circular}},
    {{7, 7, 5}, {.time_dilation = 16, .is_residual = true}},
    {{1, 9, 1}, {.is_rectified = false}},
};

TEST(Convolution, follows_its_definition_however_the_recording_is_cut) {
  for (std::size_t index = 0; index < cases.size(); ++index) {
    SCOPED_TRACE(index);
    Sequence sequence(static_cast<std::uint32_t>(index + 1));
    const Tensor weight = random_tensor(cases[index].shape, sequence);
    const Tensor bias = random_tensor({cases[index].shape[0]}, sequence);
    constexpr std::size_t frames = 101;
    const auto lanes = cases[index].shape[1] * cases[index].options.row_count;
    const auto in = random_tensor({lanes, frames}, sequence).values;
    const auto expected = by_definition(cases[index], weight, bias, in, frames);

    Convolution whole(weight, bias, cases[index].options);
    const auto once = run_in_pieces(whole, in, frames, frames);
    ASSERT_EQ(once.size(), expected.size());
    for (std::size_t i = 0; i < once.size(); ++i) {
      ASSERT_NEAR(static_cast<double>(once[i]), expected[i], 2e-5) << "value " << i;
    }
    for (const std::size_t piece : {1UL, 5UL, 24UL, 37UL, 100UL}) {
      Convolution layer(weight, bias, cases[index].options);
      EXPECT_EQ(run_in_pieces(layer, in, frames, piece), once) << piece << " frames at once";
    }
  }
}

TEST(Convolution, gives_the_same_bits_from_wide_and_plain_vectors) {
  Sequence sequence(7);
  const Tensor weight = random_tensor({20, 20, 3, 5}, sequence);
  const Tensor bias = random_tensor({20}, sequence);
  const ConvolutionOptions options{.row_count = 9, .time_dilation = 2};
  constexpr std::size_t frames = 200;
  const auto in = random_tensor({20 * 9, frames}, sequence).values;
  Convolution wide(weight, bias, options);
  Convolution plain(weight, bias, options);
  plain.use_plain_vectors();
  EXPECT_EQ(run_in_pieces(wide, in, frames, 48), run_in_pieces(plain, in, frames, 48));
}

TEST(Convolution, reads_channels_from_the_lanes_it_was_told) {
  // Two channels of three rows, laid over six lanes: channel 0 begins at lane 3, channel 1 at 1.
  const Tensor weight{{1, 2, 1, 1}, {10.0F, 1.0F}};
  const Tensor bias{{1}, {0.0F}};
  Convolution layer(weight, bias, {.row_count = 3, .channel_lanes = {3, 1}, .input_lane_count = 6});
  const std::size_t first = layer.input().grow(1);
  for (std::size_t lane = 0; lane < 6; ++lane) {
    layer.input().lane(lane)[first] = static_cast<float>(lane);
  }
  FrameQueue out(3);
  layer.run(out, true);
  EXPECT_EQ(out.lane(0)[0], 31.0F);
  EXPECT_EQ(out.lane(1)[0], 42.0F);
  EXPECT_EQ(out.lane(2)[0], 53.0F);
}

TEST(FrameQueue, keeps_frames_in_order_while_it_moves_and_grows) {
  FrameQueue queue(3);
  float next = 0.0F;
  float expected = 0.0F;
  for (std::size_t round = 0; round < 200; ++round) {
    const std::size_t count = round % 17;
    const std::size_t first = queue.grow(count);
    for (std::size_t i = 0; i < count; ++i, next += 1.0F) {
      for (std::size_t lane = 0; lane < 3; ++lane) {
        queue.lane(lane)[first + i] = next + 0.25F * static_cast<float>(lane);
      }
    }
    const std::size_t taken = round % 13 < queue.frame_count() ? round % 13 : 0;
    for (std::size_t i = 0; i < taken; ++i, expected += 1.0F) {
      for (std::size_t lane = 0; lane < 3; ++lane) {
        ASSERT_EQ(queue.lane(lane)[i], expected + 0.25F * static_cast<float>(lane));
      }
    }
    queue.drop(taken);
  }
}

}  // namespace
}  // namespace lowstride::dsp
