#include "dsp/learned/nets.hpp"

#include <algorithm>
#include <array>
#include <string>
#include <string_view>

#include "dsp/learned/front_end.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t stack_rows = 135;  // MIDI 22.667 to 67.333, a third of a semitone each
constexpr std::size_t stack_first_bin = 36;
// round(36 log2 h) for h = 0.5, 1, 1.5, 2, 3, 4, 5, 6
constexpr std::array<std::ptrdiff_t, 8> harmonic_shifts{-36, 0, 21, 36, 57, 72, 84, 93};
constexpr std::size_t pitches = evidence_pitch_count;
constexpr std::size_t width = 20;        // channels of a semitone
constexpr std::size_t band_width = 16;   // channels of the bands
constexpr std::size_t frame_width = 32;  // channels of a whole frame

Convolution layer(const Weights& weights, std::string_view name,
                  const ConvolutionOptions& options) {
  const std::string key(name);
  return {weights.tensors.at(key + ".weight"), weights.tensors.at(key + ".bias"), options};
}

ConvolutionOptions plain() { return {.is_rectified = false}; }
ConvolutionOptions on_pitches() { return {.row_count = pitches}; }

ConvolutionOptions on_stack() {
  ConvolutionOptions options{.row_count = stack_rows, .input_lane_count = spectrum_lane_count};
  for (const std::size_t spectrum : {std::size_t{0}, log_bin_count}) {
    for (const std::ptrdiff_t shift : harmonic_shifts) {
      options.channel_lanes.push_back(spectrum + static_cast<std::size_t>(stack_first_bin + shift));
    }
  }
  return options;
}

void copy_lanes(const FrameQueue& from, std::size_t from_frame, std::size_t count, FrameQueue& to,
                std::size_t to_lane, std::size_t to_frame) {
  for (std::size_t i = 0; i < from.lane_count(); ++i) {
    std::copy_n(from.lane(i) + from_frame, count, to.lane(to_lane + i) + to_frame);
  }
}

/// Mean and maximum over the rows of each channel, to lanes 0.. and channels..
void mean_and_maximum(const FrameQueue& from, std::size_t from_frame, std::size_t rows,
                      std::size_t count, FrameQueue& to, std::size_t to_frame) {
  const std::size_t channels = from.lane_count() / rows;
  const float share = 1.0F / static_cast<float>(rows);
  for (std::size_t c = 0; c < channels; ++c) {
    float* mean = to.lane(c) + to_frame;
    float* maximum = to.lane(channels + c) + to_frame;
    std::copy_n(from.lane(c * rows) + from_frame, count, mean);
    std::copy_n(from.lane(c * rows) + from_frame, count, maximum);
    for (std::size_t r = 1; r < rows; ++r) {
      const float* x = from.lane(c * rows + r) + from_frame;
      for (std::size_t t = 0; t < count; ++t) {
        mean[t] += x[t];
        maximum[t] = std::max(maximum[t], x[t]);
      }
    }
    for (std::size_t t = 0; t < count; ++t) mean[t] *= share;
  }
}

}  // namespace

PitchNet::PitchNet(const Weights& weights)
    : c1_(layer(weights, "pitch.c1", on_stack())),
      c2_(layer(weights, "pitch.c2", {.row_count = stack_rows})),
      c3_(layer(weights, "pitch.c3", {.row_count = stack_rows, .row_stride = 3})),
      e1_(layer(weights, "pitch.e1", {})),
      e2_(layer(weights, "pitch.e2", {})),
      join_(layer(weights, "pitch.join", {.row_count = pitches, .is_rectified = false})),
      join_bands_(layer(weights, "pitch.join_bands", plain())),
      pre_(layer(weights, "pitch.pre", on_pitches())),
      octave_(layer(weights, "pitch.octave", on_pitches())),
      g1_(layer(weights, "pitch.g1", {})),
      g2_(layer(weights, "pitch.g2", {.time_dilation = 4, .is_residual = true})),
      g3_(layer(weights, "pitch.g3", {.time_dilation = 16, .is_residual = true})),
      g4_(layer(weights, "pitch.g4", {.time_dilation = 48, .is_residual = true})),
      lift_(layer(weights, "pitch.lift", plain())),
      r1_(layer(weights, "pitch.r1",
                {.row_count = pitches, .time_dilation = 2, .is_residual = true})),
      r2_(layer(weights, "pitch.r2",
                {.row_count = pitches, .time_dilation = 4, .is_residual = true})),
      out_(layer(weights, "pitch.out", {.row_count = pitches, .is_rectified = false})),
      f1_(layer(weights, "pitch.f1", {})),
      f2_(layer(weights, "pitch.f2", plain())),
      e_(band_width),
      e_late_(band_width),
      joined_(frame_width * pitches),
      bands_joined_(frame_width),
      h_(width * pitches),
      h_late_(width * pitches),
      g_(frame_width),
      g_late_(frame_width),
      lifted_(width),
      refined_(width * pitches),
      out_logits_(2 * pitches),
      frame_logits_(3) {}

void PitchNet::run(FrameQueue& out, bool is_last) {
  c1_.run(c2_.input(), is_last);
  c2_.run(c3_.input(), is_last);
  c3_.run(join_.input(), is_last);
  join_.run(joined_, is_last);

  e1_.run(e2_.input(), is_last);
  const std::size_t e_before = e_.frame_count();
  e2_.run(e_, is_last);
  const std::size_t e_count = e_.frame_count() - e_before;
  join_bands_.input().append(e_, e_before, e_count);
  e_late_.append(e_, e_before, e_count);
  join_bands_.run(bands_joined_, is_last);

  join_bands();
  pre_.run(octave_.input(), is_last);
  const std::size_t h_before = h_.frame_count();
  octave_.run(h_, is_last);
  h_late_.append(h_, h_before, h_.frame_count() - h_before);

  summarise();
  g1_.run(g2_.input(), is_last);
  g2_.run(g3_.input(), is_last);
  g3_.run(g4_.input(), is_last);
  g4_.run(g_, is_last);
  lift_.input().append(g_, 0, g_.frame_count());
  g_late_.append(g_, 0, g_.frame_count());
  g_.drop(g_.frame_count());
  lift_.run(lifted_, is_last);

  lift();
  r1_.run(r2_.input(), is_last);
  r2_.run(refined_, is_last);
  finish_frames();
  out_.run(out_logits_, is_last);
  f1_.run(f2_.input(), is_last);
  f2_.run(frame_logits_, is_last);

  const std::size_t count = std::min(out_logits_.frame_count(), frame_logits_.frame_count());
  if (count == 0) return;
  const std::size_t first = out.grow(count);
  const auto copy = [count, first, &out](const FrameQueue& from, std::size_t lane, std::size_t to) {
    std::copy_n(from.lane(lane), count, out.lane(to) + first);
  };
  for (std::size_t p = 0; p < pitches; ++p) {
    copy(out_logits_, p, pitch_logit_lane + p);
    copy(out_logits_, pitches + p, onset_logit_lane + p);
  }
  copy(frame_logits_, 0, pitch_logit_lane + no_pitch_column);
  copy(frame_logits_, 1, dead_logit_lane);
  copy(frame_logits_, 2, guitar_logit_lane);
  out_logits_.drop(count);
  frame_logits_.drop(count);
}

/// What the bands say is added to every semitone.
void PitchNet::join_bands() {
  const std::size_t count = std::min(joined_.frame_count(), bands_joined_.frame_count());
  if (count == 0) return;
  FrameQueue& to = pre_.input();
  const std::size_t first = to.grow(count);
  for (std::size_t c = 0; c < frame_width; ++c) {
    const float* bands = bands_joined_.lane(c);
    for (std::size_t p = 0; p < pitches; ++p) {
      const float* from = joined_.lane(c * pitches + p);
      float* sum = to.lane(c * pitches + p) + first;
      for (std::size_t t = 0; t < count; ++t) sum[t] = std::max(0.0F, from[t] + bands[t]);
    }
  }
  joined_.drop(count);
  bands_joined_.drop(count);
}

/// Semitones and bands to one description of the frame.
void PitchNet::summarise() {
  const std::size_t count = std::min(h_.frame_count(), e_.frame_count());
  if (count == 0) return;
  FrameQueue& to = g1_.input();
  const std::size_t first = to.grow(count);
  mean_and_maximum(h_, 0, pitches, count, to, first);
  copy_lanes(e_, 0, count, to, 2 * width, first);
  h_.drop(count);
  e_.drop(count);
}

/// What is heard further away in time is added to every semitone.
void PitchNet::lift() {
  const std::size_t count = std::min(h_late_.frame_count(), lifted_.frame_count());
  if (count == 0) return;
  FrameQueue& to = r1_.input();
  const std::size_t first = to.grow(count);
  for (std::size_t c = 0; c < width; ++c) {
    const float* added = lifted_.lane(c);
    for (std::size_t p = 0; p < pitches; ++p) {
      const float* from = h_late_.lane(c * pitches + p);
      float* sum = to.lane(c * pitches + p) + first;
      for (std::size_t t = 0; t < count; ++t) sum[t] = from[t] + added[t];
    }
  }
  h_late_.drop(count);
  lifted_.drop(count);
}

/// Refined semitones to the output layer, and with bands and frame to the last description.
void PitchNet::finish_frames() {
  const std::size_t count = refined_.frame_count();
  if (count == 0) return;
  out_.input().append(refined_, 0, count);
  FrameQueue& to = f1_.input();
  const std::size_t first = to.grow(count);
  mean_and_maximum(refined_, 0, pitches, count, to, first);
  copy_lanes(e_late_, 0, count, to, 2 * width, first);
  copy_lanes(g_late_, 0, count, to, 2 * width + band_width, first);
  refined_.drop(count);
  e_late_.drop(count);
  g_late_.drop(count);
}

namespace {

constexpr std::size_t chord_width = 40;
constexpr std::size_t chord_lanes = chord_width * pitch_class_count;
constexpr std::array<std::size_t, 7> chord_dilations{1, 2, 4, 8, 16, 32, 64};
constexpr std::array<std::size_t, 8> beat_dilations{1, 2, 4, 8, 16, 32, 64, 128};

ConvolutionOptions circular() {
  return {.row_count = pitch_class_count, .row_padding = RowPadding::circular};
}

}  // namespace

ChordNet::ChordNet(const Weights& weights)
    : first_(layer(weights, "chord.first", circular())),
      out_(layer(weights, "chord.out", {.row_count = pitch_class_count, .is_rectified = false})),
      none_(layer(weights, "chord.none", plain())),
      h_(chord_lanes),
      out_logits_((chord_quality_count + 1) * pitch_class_count),
      none_logits_(1) {
  for (std::size_t i = 0; i < chord_dilations.size(); ++i) {
    const std::string number = std::to_string(i + 1);
    blocks_.push_back({layer(weights, "chord.a" + number, circular()),
                       layer(weights, "chord.b" + number,
                             {.row_count = pitch_class_count, .time_dilation = chord_dilations[i]}),
                       FrameQueue(chord_lanes), FrameQueue(chord_lanes)});
  }
}

void ChordNet::run(FrameQueue& out, bool is_last) {
  first_.run(h_, is_last);
  for (Block& block : blocks_) {
    block.a.input().append(h_, 0, h_.frame_count());
    block.waiting.append(h_, 0, h_.frame_count());
    h_.drop(h_.frame_count());
    block.a.run(block.b.input(), is_last);
    block.b.run(block.change, is_last);
    const std::size_t count = block.change.frame_count();
    const std::size_t first = h_.grow(count);
    for (std::size_t lane = 0; lane < chord_lanes; ++lane) {
      const float* before = block.waiting.lane(lane);
      const float* change = block.change.lane(lane);
      float* sum = h_.lane(lane) + first;
      for (std::size_t t = 0; t < count; ++t) sum[t] = before[t] + change[t];
    }
    block.waiting.drop(count);
    block.change.drop(count);
  }
  const std::size_t count = h_.frame_count();
  out_.input().append(h_, 0, count);
  mean_and_maximum(h_, 0, pitch_class_count, count, none_.input(), none_.input().grow(count));
  h_.drop(count);
  out_.run(out_logits_, is_last);
  none_.run(none_logits_, is_last);

  // Both layers look at one frame at a time, so they are always level.
  const std::size_t ready = out_logits_.frame_count();
  const std::size_t first = out.grow(ready);
  const auto copy = [ready, first, &out](const FrameQueue& from, std::size_t lane, std::size_t to) {
    std::copy_n(from.lane(lane), ready, out.lane(to) + first);
  };
  for (std::size_t root = 0; root < pitch_class_count; ++root) {
    for (std::size_t quality = 0; quality < chord_quality_count; ++quality) {
      copy(out_logits_, quality * pitch_class_count + root, root * chord_quality_count + quality);
    }
    copy(out_logits_, chord_quality_count * pitch_class_count + root, chord_bass_logit_lane + root);
  }
  copy(none_logits_, 0, no_chord_column);
  out_logits_.drop(ready);
  none_logits_.drop(ready);
}

BeatNet::BeatNet(const Weights& weights) {
  layers_.push_back(layer(weights, "beat.first", {}));
  for (std::size_t i = 0; i < beat_dilations.size(); ++i) {
    layers_.push_back(layer(weights, "beat.d" + std::to_string(i + 1),
                            {.time_dilation = beat_dilations[i], .is_residual = true}));
  }
  layers_.push_back(layer(weights, "beat.out", plain()));
}

void BeatNet::run(FrameQueue& out, bool is_last) {
  for (std::size_t i = 0; i < layers_.size(); ++i) {
    layers_[i].run(i + 1 < layers_.size() ? layers_[i + 1].input() : out, is_last);
  }
}

}  // namespace lowstride::dsp
