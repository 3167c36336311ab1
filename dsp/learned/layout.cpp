#include "dsp/learned/layout.hpp"

#include <array>

namespace lowstride::dsp {
namespace {

constexpr std::array<LayerShape, 46> shapes{{
    {"pitch.c1", 12, 16, 3, 3},         {"pitch.c2", 12, 12, 5, 3},
    {"pitch.c3", 32, 12, 3, 3},         {"pitch.e1", 24, 40, 0, 5},
    {"pitch.e2", 16, 24, 0, 5},         {"pitch.join", 32, 32, 1, 5},
    {"pitch.join_bands", 32, 16, 0, 5}, {"pitch.pre", 20, 32, 1, 1},
    {"pitch.octave", 20, 20, 25, 1},    {"pitch.g1", 32, 56, 0, 5},
    {"pitch.g2", 32, 32, 0, 5},         {"pitch.g3", 32, 32, 0, 5},
    {"pitch.g4", 32, 32, 0, 5},         {"pitch.lift", 20, 32, 0, 1},
    {"pitch.r1", 20, 20, 3, 5},         {"pitch.r2", 20, 20, 3, 5},
    {"pitch.out", 2, 20, 1, 1},         {"pitch.f1", 32, 88, 0, 5},
    {"pitch.f2", 3, 32, 0, 1},          {"chord.first", 40, 20, 12, 1},
    {"chord.a1", 40, 40, 12, 1},        {"chord.a2", 40, 40, 12, 1},
    {"chord.a3", 40, 40, 12, 1},        {"chord.a4", 40, 40, 12, 1},
    {"chord.a5", 40, 40, 12, 1},        {"chord.a6", 40, 40, 12, 1},
    {"chord.a7", 40, 40, 12, 1},        {"chord.b1", 40, 40, 1, 5},
    {"chord.b2", 40, 40, 1, 5},         {"chord.b3", 40, 40, 1, 5},
    {"chord.b4", 40, 40, 1, 5},         {"chord.b5", 40, 40, 1, 5},
    {"chord.b6", 40, 40, 1, 5},         {"chord.b7", 40, 40, 1, 5},
    {"chord.out", 15, 40, 1, 1},        {"chord.none", 1, 80, 0, 1},
    {"beat.first", 48, 97, 0, 5},       {"beat.d1", 48, 48, 0, 5},
    {"beat.d2", 48, 48, 0, 5},          {"beat.d3", 48, 48, 0, 5},
    {"beat.d4", 48, 48, 0, 5},          {"beat.d5", 48, 48, 0, 5},
    {"beat.d6", 48, 48, 0, 5},          {"beat.d7", 48, 48, 0, 5},
    {"beat.d8", 48, 48, 0, 5},          {"beat.out", 2, 48, 0, 1},
}};

}  // namespace

std::vector<std::size_t> LayerShape::weight_shape() const {
  if (row_taps == 0) return {out_channels, in_channels, time_taps};
  return {out_channels, in_channels, row_taps, time_taps};
}

std::span<const LayerShape> layer_shapes() noexcept { return shapes; }

}  // namespace lowstride::dsp
