#include "src/audio/loop_reader.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace lowstride::audio {
namespace {

constexpr std::size_t block_samples = 1024;
constexpr float further_channel_gain = 0.5F;  // of surround channels, on both sides

/// Folds `count` samples of a recording's channels into one or two.
void fold(Planes& raw, Planes& target, std::size_t count) {
  const dsp::AudioView in = raw.read(0, count);
  const dsp::MutableAudioView out = target.part(0, count);
  for (std::size_t c = 0; c < out.channel_count(); ++c) {
    std::copy_n(in.channels[c], count, out.channels[c]);
    for (std::size_t further = 2; further < in.channel_count(); ++further) {
      for (std::size_t i = 0; i < count; ++i) {
        out.channels[c][i] += further_channel_gain * in.channels[further][i];
      }
    }
  }
}

}  // namespace

LoopReader::LoopReader(std::unique_ptr<LowVoiceReader> reader)
    : reader_(std::move(reader)),
      raw_(static_cast<std::size_t>(reader_->info().channel_count), block_samples),
      out_(std::min<std::size_t>(2, raw_.channel_count()), block_samples),
      seam_(out_.channel_count(), block_samples) {}

Result<void> LoopReader::restart(std::int64_t place, const std::optional<SampleRange>& loop,
                                 std::int64_t fade_samples) {
  loop_ = loop;
  if (loop_ && place >= loop_->end_sample) loop_.reset();
  fade_samples_ = std::min(fade_samples, static_cast<std::int64_t>(block_samples));
  place_ = place;
  streamed_ = 0;
  segments_.assign(1, {0, place});
  return reader_->seek(place);
}

Result<std::size_t> LoopReader::read(Planes& target, std::int64_t count) {
  const auto wanted = static_cast<std::size_t>(count);
  auto got = reader_->read(raw_.part(0, wanted));
  if (!got) return got;
  fold(raw_, target, *got);
  return got;
}

/// The last samples of the loop, faded into those before its begin. Leaves the reader at the begin.
Result<std::size_t> LoopReader::read_seam(std::int64_t count) {
  auto tail = read(out_, count);
  if (!tail) return tail;
  const std::int64_t lead = std::min(count, loop_->begin_sample);  // no sound before the recording
  const auto length = static_cast<std::size_t>(count);
  out_.clear(*tail, length - *tail);
  if (auto placed = reader_->seek(loop_->begin_sample - lead); !placed) {
    return tl::unexpected(placed.error());
  }
  seam_.clear(0, length);
  if (lead > 0) {
    auto got = read(seam_, lead);
    if (!got) return got;
  }
  const std::size_t silent = length - static_cast<std::size_t>(lead);
  const dsp::MutableAudioView out = out_.part(0, length);
  const dsp::AudioView before = seam_.read(0, length);
  for (std::size_t i = 0; i < length; ++i) {
    const double turn =
        0.5 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(length);
    const auto down = static_cast<float>(std::cos(turn));
    const auto up = static_cast<float>(std::sin(turn));
    for (std::size_t c = 0; c < out.channel_count(); ++c) {
      const float entering = i < silent ? 0.0F : before.channels[c][i - silent];
      out.channels[c][i] = down * out.channels[c][i] + up * entering;
    }
  }
  return length;
}

Result<void> LoopReader::jump_back() {
  place_ = loop_->begin_sample;
  segments_.push_back({streamed_, place_});
  return reader_->seek(place_);
}

Result<dsp::AudioView> LoopReader::next() {
  std::int64_t wanted = static_cast<std::int64_t>(block_samples);
  Result<std::size_t> got = 0;
  bool is_seam = false;
  if (loop_) {
    const std::int64_t seam = std::max(place_, loop_->end_sample - fade_samples_);
    is_seam = place_ >= seam;
    wanted = is_seam ? loop_->end_sample - place_ : std::min(wanted, seam - place_);
  }
  if (is_seam) {
    got = read_seam(wanted);
  } else {
    got = read(out_, wanted);
  }
  if (!got) return tl::unexpected(got.error());
  if (*got == 0 && loop_ && place_ > loop_->begin_sample) {
    // The recording turned out shorter than its file promised: the loop ends with it.
    loop_->end_sample = place_;
    return jump_back().and_then([this] { return next(); });
  }
  streamed_ += static_cast<std::int64_t>(*got);
  place_ += static_cast<std::int64_t>(*got);
  if (is_seam) {
    place_ = loop_->begin_sample;
    segments_.push_back({streamed_, place_});
  }
  return out_.read(0, *got);
}

double LoopReader::place_of(double stream_sample) const noexcept {
  auto segment = segments_.rbegin();
  while (segment + 1 != segments_.rend() &&
         static_cast<double>(segment->stream_begin) > stream_sample) {
    ++segment;
  }
  return static_cast<double>(segment->place_begin) + stream_sample -
         static_cast<double>(segment->stream_begin);
}

std::optional<std::int64_t> LoopReader::next_jump(double stream_sample) noexcept {
  while (segments_.size() > 1 && static_cast<double>(segments_[1].stream_begin) <= stream_sample) {
    segments_.pop_front();
  }
  if (segments_.size() < 2) return std::nullopt;
  return segments_[1].stream_begin;
}

}  // namespace lowstride::audio
