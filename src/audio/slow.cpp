#include "src/audio/slow.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <span>
#include <system_error>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "dsp/stretch/stretcher.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/forward_stream.hpp"
#include "src/audio/limiter.hpp"

namespace lowstride::audio {
namespace {

constexpr std::size_t block_samples = 4096;

/// Planar storage with views of its front.
class Planes {
 public:
  Planes(std::size_t channel_count, std::size_t sample_count)
      : planes_(channel_count, std::vector<float>(sample_count)) {
    for (std::vector<float>& plane : planes_) {
      writable_.push_back(plane.data());
      readable_.push_back(plane.data());
    }
  }
  [[nodiscard]] std::size_t sample_count() const { return planes_.front().size(); }
  [[nodiscard]] dsp::MutableAudioView front(std::size_t count) { return {writable_, count}; }
  [[nodiscard]] dsp::AudioView read(std::size_t begin, std::size_t count) {
    for (std::size_t c = 0; c < planes_.size(); ++c) readable_[c] = planes_[c].data() + begin;
    return {readable_, count};
  }
  void fill(float value, std::size_t count) {
    for (std::vector<float>& plane : planes_) std::fill_n(plane.begin(), count, value);
  }
  void load_interleaved(std::span<const float> values, std::size_t count) {
    for (std::size_t c = 0; c < planes_.size(); ++c) {
      for (std::size_t i = 0; i < count; ++i) planes_[c][i] = values[i * planes_.size() + c];
    }
  }

 private:
  std::vector<std::vector<float>> planes_;
  std::vector<float*> writable_;
  std::vector<const float*> readable_;
};

/// What comes out of the stretcher on its way to the file: limited, without the limiter's delay,
/// and exactly as long as it must be.
class Outlet {
 public:
  Outlet(AudioWriter& writer, double sample_rate_hz, std::size_t channel_count)
      : writer_(writer),
        limiter_({.sample_rate_hz = sample_rate_hz, .channel_count = channel_count}),
        to_drop_(limiter_.latency_samples()),
        tail_(channel_count, block_samples) {}

  Result<void> put(Planes& planes, std::size_t count) {
    const auto block = planes.front(count);
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

  /// Lets the limiter's rest out and makes the length exact.
  Result<void> finish(std::int64_t sample_count) {
    while (writer_.written_sample_count() < sample_count) {
      const std::int64_t missing = sample_count - writer_.written_sample_count();
      const auto count = static_cast<std::size_t>(std::min<std::int64_t>(
          missing + static_cast<std::int64_t>(to_drop_), static_cast<std::int64_t>(block_samples)));
      tail_.fill(0.0F, count);
      if (auto done = put(tail_, count); !done) return done;
    }
    LOWSTRIDE_EXPECTS(writer_.written_sample_count() == sample_count);
    return {};
  }

  [[nodiscard]] double peak() const { return peak_; }
  [[nodiscard]] bool was_limited() const { return limiter_.has_limited(); }

 private:
  AudioWriter& writer_;
  Limiter limiter_;
  std::size_t to_drop_;
  Planes tail_;
  double peak_ = 0.0;
};

Result<void> check_job(const SlowJob& job) {
  // Written so that NaN fails.
  if (!(job.speed_ratio >= lowest_speed_ratio && job.speed_ratio <= highest_speed_ratio)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The speed must lie between {:.0f} % and {:.0f} %.",
                            lowest_speed_ratio * 100.0, highest_speed_ratio * 100.0));
  }
  if (!(std::abs(job.shift_semitones) <= largest_shift_semitones)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The transposition must lie between -{0:.0f} and {0:.0f} semitones.",
                            largest_shift_semitones));
  }
  const std::int64_t begin = job.begin_sample.value_or(0);
  if (begin < 0 || job.end_sample.value_or(std::numeric_limits<std::int64_t>::max()) <= begin) {
    return fail(ErrorCode::invalid_argument,
                "The passage to render is empty; its end must come after its start.");
  }
  std::error_code error;
  if (std::filesystem::equivalent(job.input, job.output, error)) {
    return fail(ErrorCode::invalid_argument,
                quoted(job.output) + " is the recording itself; choose another name to write to.");
  }
  return {};
}

AudioTags tags_for(const SlowJob& job, const RecordingInfo& info) {
  AudioTags tags = job.tags;
  if (tags.title.empty()) {
    tags.title = info.title.empty() ? info.path.stem().string() : info.title;
    tags.title += fmt::format(" ({:.4g} %", job.speed_ratio * 100.0);
    if (job.shift_semitones != 0.0) tags.title += fmt::format(", {:+.4g} st", job.shift_semitones);
    tags.title += ")";
  }
  if (tags.artist.empty()) tags.artist = info.artist;
  return tags;
}

/// Feeds the stretcher, or passes on where there is nothing to change.
class Slowing {
 public:
  Slowing(const SlowJob& job, double sample_rate_hz, std::size_t channel_count, Outlet& outlet)
      : settings_{job.speed_ratio, std::exp2(job.shift_semitones / 12.0)},
        in_(channel_count, block_samples),
        out_(channel_count, block_samples),
        outlet_(outlet) {
    if (job.speed_ratio == 1.0 && job.shift_semitones == 0.0) return;
    dsp::StretchOptions options;
    options.sample_rate_hz = sample_rate_hz;
    options.channel_count = channel_count;
    options.max_block_samples = block_samples;
    options.lowest_speed = job.speed_ratio;
    options.highest_speed = job.speed_ratio;
    stretcher_ = std::make_unique<dsp::Stretcher>(options);
  }

  Result<void> feed(std::span<const float> interleaved, std::size_t channel_count) {
    while (!interleaved.empty()) {
      const std::size_t count = std::min(block_samples, interleaved.size() / channel_count);
      in_.load_interleaved(interleaved, count);
      interleaved = interleaved.subspan(count * channel_count);
      if (auto done = feed_planes(count); !done) return done;
    }
    return {};
  }

  Result<void> drain() {
    while (stretcher_) {
      const std::size_t made = stretcher_->drain(out_.front(block_samples));
      if (made == 0) break;
      if (auto put = outlet_.put(out_, made); !put) return put;
    }
    return {};
  }

 private:
  Result<void> feed_planes(std::size_t count) {
    if (!stretcher_) return outlet_.put(in_, count);
    std::size_t begin = 0;
    while (begin < count) {
      const auto progress =
          stretcher_->process(settings_, in_.read(begin, count - begin), out_.front(block_samples));
      begin += progress.consumed_samples;
      if (auto put = outlet_.put(out_, progress.produced_samples); !put) return put;
    }
    return {};
  }

  dsp::StretchSettings settings_;
  Planes in_;
  Planes out_;
  Outlet& outlet_;
  std::unique_ptr<dsp::Stretcher> stretcher_;
};

}  // namespace

Result<SlowReport> render_slow(const SlowJob& job, const WorkControl& control) {
  if (auto valid = check_job(job); !valid) return tl::unexpected(valid.error());
  const std::int64_t begin = job.begin_sample.value_or(0);
  const std::int64_t end = job.end_sample.value_or(std::numeric_limits<std::int64_t>::max());
  OpenOptions open = job.open;
  open.with_content_hash = false;
  auto opened = open_forward(job.input, begin, open, control);
  if (!opened) return tl::unexpected(opened.error());
  ForwardStream& stream = **opened;
  const auto channel_count = static_cast<std::size_t>(stream.info().channel_count);

  WriteOptions options;
  options.sample_rate_hz = stream.info().sample_rate_hz;
  options.channel_count = stream.info().channel_count;
  options.sample_format = job.sample_format;
  if (const auto expected = stream.expected_sample_count(); expected && *expected > begin) {
    options.expected_sample_count =
        std::llround(static_cast<double>(std::min(end, *expected) - begin) / job.speed_ratio);
  }
  if (auto possible = check_audio_target(job.output, options); !possible) {
    return tl::unexpected(possible.error());
  }
  // The first block brings the tags of a file that is decoded elsewhere.
  auto block = stream.next_block();
  if (!block) return tl::unexpected(block.error());
  options.tags = tags_for(job, stream.info());
  auto writer = AudioWriter::create(job.output, options);
  if (!writer) return tl::unexpected(writer.error());

  const double rate_hz = stream.info().sample_rate_hz;
  Outlet outlet(**writer, rate_hz, channel_count);
  Slowing slowing(job, rate_hz, channel_count, outlet);
  std::int64_t position = begin;
  while (!block->empty() && position < end) {
    const auto count = static_cast<std::int64_t>(block->size() / channel_count);
    const auto wanted = static_cast<std::size_t>(std::min(end - position, count));
    if (auto fed = slowing.feed(block->first(wanted * channel_count), channel_count); !fed) {
      return tl::unexpected(fed.error());
    }
    position += static_cast<std::int64_t>(wanted);
    if (control.is_cancelled()) {
      return fail(ErrorCode::cancelled, "Stopped while slowing " + quoted(job.input) + ".");
    }
    if (const auto expected = stream.expected_sample_count(); expected && *expected > begin) {
      const auto whole = static_cast<double>(std::min(end, *expected) - begin);
      control.report("Slowing", std::min(1.0, static_cast<double>(position - begin) / whole));
    }
    block = stream.next_block();
    if (!block) return tl::unexpected(block.error());
  }
  if (position == begin) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The passage begins after the end of {}, which is {} long; choose an "
                            "earlier one.",
                            quoted(job.input), spoken_duration(stream.info().duration_seconds())));
  }
  SlowReport report;
  report.begin_sample = begin;
  report.end_sample = position;
  report.output_sample_count =
      std::llround(static_cast<double>(position - begin) / job.speed_ratio);
  if (auto drained = slowing.drain(); !drained) return tl::unexpected(drained.error());
  if (auto done = outlet.finish(report.output_sample_count); !done) {
    return tl::unexpected(done.error());
  }
  if (auto committed = (*writer)->commit(); !committed) return tl::unexpected(committed.error());
  report.recording = stream.info();
  report.output_peak = outlet.peak();
  report.was_limited = outlet.was_limited();
  return report;
}

}  // namespace lowstride::audio
