#include "src/audio/slow.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"
#include "src/audio/forward_stream.hpp"
#include "src/audio/slow_stream.hpp"

namespace lowstride::audio {
namespace {

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
  }
  tags.title += fmt::format(" ({:.4g} %", job.speed_ratio * 100.0);
  if (job.shift_semitones != 0.0) tags.title += fmt::format(", {:+.4g} st", job.shift_semitones);
  tags.title += ")";
  if (tags.artist.empty()) tags.artist = info.artist;
  return tags;
}

/// A stretch of a ForwardStream in blocks that the stretcher takes.
class RangeSource {
 public:
  RangeSource(ForwardStream& stream, std::int64_t begin, std::int64_t end,
              std::span<const float> first, const WorkControl& control)
      : stream_(stream),
        begin_(begin),
        end_(end),
        position_(begin),
        block_(first),
        control_(control) {}

  Result<std::span<const float>> next() {
    if (control_.is_cancelled()) {
      return fail(ErrorCode::cancelled,
                  "Stopped while slowing " + quoted(stream_.info().path) + ".");
    }
    const auto channel_count = static_cast<std::size_t>(stream_.info().channel_count);
    if (block_.empty() && position_ < end_) {
      auto block = stream_.next_block();
      if (!block) return block;
      block_ = *block;
    }
    const auto left = static_cast<std::size_t>(
        std::min<std::int64_t>(end_ - position_, static_cast<std::int64_t>(slow_block_samples)));
    const std::size_t count = std::min(left, block_.size() / channel_count);
    const auto now = block_.first(count * channel_count);
    block_ = block_.subspan(now.size());
    position_ += static_cast<std::int64_t>(count);
    if (const auto expected = stream_.expected_sample_count(); expected && *expected > begin_) {
      const auto whole = static_cast<double>(std::min(end_, *expected) - begin_);
      control_.report("Slowing", std::min(1.0, static_cast<double>(position_ - begin_) / whole));
    }
    return now;
  }
  [[nodiscard]] std::int64_t position() const { return position_; }

 private:
  ForwardStream& stream_;
  std::int64_t begin_;
  std::int64_t end_;
  std::int64_t position_;
  std::span<const float> block_;  // of the stream's last block, what has not been given yet
  const WorkControl& control_;
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
  const auto block = stream.next_block();
  if (!block) return tl::unexpected(block.error());
  options.tags = tags_for(job, stream.info());
  auto writer = AudioWriter::create(job.output, options);
  if (!writer) return tl::unexpected(writer.error());

  RangeSource source(stream, begin, end, *block, control);
  SlowStreamOptions slow;
  slow.sample_rate_hz = stream.info().sample_rate_hz;
  slow.channel_count = channel_count;
  slow.speed_ratio = job.speed_ratio;
  slow.shift_semitones = job.shift_semitones;
  SlowStream slowed(slow, [&source] { return source.next(); });
  LimitedOutlet outlet(**writer, slow.sample_rate_hz, channel_count);
  Planes planes(channel_count, slow_block_samples);
  while (true) {
    const auto count = slowed.read(planes.part(0, slow_block_samples));
    if (!count) return tl::unexpected(count.error());
    if (auto put = outlet.put(planes, *count); !put) return tl::unexpected(put.error());
    if (*count < slow_block_samples) break;
  }
  if (source.position() == begin) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The passage begins after the end of {}, which is {} long; choose an "
                            "earlier one.",
                            quoted(job.input), spoken_duration(stream.info().duration_seconds())));
  }
  if (auto finished = outlet.finish(); !finished) return tl::unexpected(finished.error());
  if (auto committed = (*writer)->commit(); !committed) return tl::unexpected(committed.error());
  SlowReport report;
  report.recording = stream.info();
  report.begin_sample = begin;
  report.end_sample = source.position();
  report.output_sample_count = outlet.put_sample_count();
  report.output_peak = outlet.peak();
  report.was_limited = outlet.was_limited();
  return report;
}

}  // namespace lowstride::audio
