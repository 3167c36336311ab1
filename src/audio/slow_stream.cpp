#include "src/audio/slow_stream.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

namespace lowstride::audio {
namespace {

dsp::MutableAudioView rest_of(dsp::MutableAudioView view, std::size_t begin,
                              std::vector<float*>& pointers) {
  pointers.assign(view.channels.begin(), view.channels.end());
  for (float*& pointer : pointers) pointer += begin;
  return {pointers, view.sample_count - begin};
}

}  // namespace

SlowStream::SlowStream(const SlowStreamOptions& options, BlockSource source)
    : options_(options),
      source_(std::move(source)),
      in_(options.channel_count, slow_block_samples) {
  if (options.speed_ratio == 1.0 && options.shift_semitones == 0.0) return;
  dsp::StretchOptions stretch;
  stretch.sample_rate_hz = options.sample_rate_hz;
  stretch.channel_count = options.channel_count;
  stretch.lowest_speed = options.speed_ratio;
  stretch.highest_speed = options.speed_ratio;
  stretcher_ = std::make_unique<dsp::Stretcher>(stretch);
}

Result<void> SlowStream::fetch() {
  const auto block = source_();
  if (!block) return tl::unexpected(block.error());
  in_begin_ = 0;
  in_end_ = block->size() / options_.channel_count;
  is_ended_ = in_end_ == 0;
  in_.load_interleaved(*block, in_end_);
  consumed_ += static_cast<std::int64_t>(in_end_);
  return {};
}

/// As much of `out` as can be made now; 0: more input is needed, or all is out.
std::size_t SlowStream::make(dsp::MutableAudioView out) {
  const std::size_t left = in_end_ - in_begin_;
  if (!stretcher_) {
    const std::size_t count = std::min(left, out.sample_count);
    const auto in = in_.read(in_begin_, count);
    for (std::size_t c = 0; c < out.channel_count(); ++c) {
      std::copy_n(in.channels[c], count, out.channels[c]);
    }
    in_begin_ += count;
    return count;
  }
  if (left > 0) {
    const dsp::StretchSettings settings{options_.speed_ratio,
                                        std::exp2(options_.shift_semitones / 12.0)};
    const auto progress = stretcher_->process(settings, in_.read(in_begin_, left), out);
    in_begin_ += progress.consumed_samples;
    return progress.produced_samples;
  }
  if (!is_ended_ || is_drained_) return 0;
  const std::size_t count = stretcher_->drain(out);
  is_drained_ = count == 0;
  return count;
}

Result<std::size_t> SlowStream::read(dsp::MutableAudioView out) {
  std::vector<float*> pointers;
  std::size_t done = 0;
  while (done < out.sample_count) {
    const std::size_t made = make(rest_of(out, done, pointers));
    done += made;
    if (made > 0 || in_begin_ < in_end_) continue;
    if (!is_ended_) {
      if (auto fetched = fetch(); !fetched) return tl::unexpected(fetched.error());
    } else if (!stretcher_ || is_drained_) {
      break;
    }
  }
  produced_ += static_cast<std::int64_t>(done);
  if (done < out.sample_count) {
    LOWSTRIDE_EXPECTS(produced_ ==
                      std::llround(static_cast<double>(consumed_) / options_.speed_ratio));
  }
  return done;
}

LimitedOutlet::LimitedOutlet(AudioWriter& writer, double sample_rate_hz, std::size_t channel_count)
    : writer_(writer),
      limiter_({.sample_rate_hz = sample_rate_hz, .channel_count = channel_count}),
      to_drop_(limiter_.latency_samples()) {}

Result<void> LimitedOutlet::put(Planes& planes, std::size_t count) {
  put_ += static_cast<std::int64_t>(count);
  return pass(planes, count);
}

Result<void> LimitedOutlet::pass(Planes& planes, std::size_t count) {
  const auto block = planes.part(0, count);
  limiter_.process(block);
  for (std::size_t c = 0; c < block.channel_count(); ++c) {
    for (const float value : block.channel(c)) {
      peak_ = std::max(peak_, std::abs(static_cast<double>(value)));
    }
  }
  const std::size_t dropped = std::min(count, to_drop_);
  to_drop_ -= dropped;
  return writer_.write(planes.read(dropped, count - dropped));
}

Result<void> LimitedOutlet::finish() {
  Planes silence(writer_.channel_count(), limiter_.latency_samples());
  if (silence.sample_count() > 0) {
    if (auto passed = pass(silence, silence.sample_count()); !passed) return passed;
  }
  LOWSTRIDE_EXPECTS(writer_.written_sample_count() == put_);
  return {};
}

}  // namespace lowstride::audio
