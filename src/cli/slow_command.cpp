#include <charconv>
#include <cmath>
#include <optional>
#include <string>

#include <fmt/format.h>

#include "src/audio/slow.hpp"
#include "src/cli/commands.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::cli {
namespace {

/// "50%", "50" and "0.5" are half speed.
Result<double> speed_from(std::string text) {
  const std::string typed = text;
  const bool is_percent = text.ends_with('%');
  if (is_percent) text.pop_back();
  double value = 0.0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  const bool is_number = !text.empty() && error == std::errc() && stop == text.data() + text.size();
  if (is_percent || value > 2.0) value /= 100.0;
  if (!is_number || !std::isfinite(value) || value < audio::lowest_speed_ratio ||
      value > audio::highest_speed_ratio) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--speed '{}': say a speed from 20% to 150%, as 50%.", typed));
  }
  return value;
}

struct Source {
  std::filesystem::path recording;
  std::optional<take::Take> take;
};

Result<Source> source_from(const std::filesystem::path& input) {
  if (input.extension() != ".take") return Source{input, std::nullopt};
  const auto loaded = take::load_take(input);
  if (!loaded) return tl::unexpected(loaded.error());
  for (const std::string& sentence : loaded->messages) remark(sentence);
  const auto recording = take::find_recording(
      loaded->take, input,
      [](const std::filesystem::path& path) { return audio::content_hash_of(path); });
  if (!recording) return tl::unexpected(recording.error());
  return Source{*recording, loaded->take};
}

Result<std::int64_t> sample_from(const std::string& text, const Source& source, double rate_hz) {
  if (source.take) return take::parse_time(text, *source.take);
  const auto seconds = take::parse_seconds(text);
  if (!seconds) return tl::unexpected(seconds.error());
  return std::llround(*seconds * rate_hz);
}

Result<audio::SlowJob> job_from(const SlowOptions& options) {
  audio::SlowJob job;
  const auto speed = speed_from(options.speed);
  if (!speed) return tl::unexpected(speed.error());
  job.speed_ratio = *speed;
  job.shift_semitones = options.semitones + options.cents / 100.0;
  if (std::abs(job.shift_semitones) > audio::largest_shift_semitones) {
    return fail(ErrorCode::invalid_argument,
                "--semitones and --cents together may move the pitch by 12 semitones at most.");
  }
  const auto source = source_from(options.input);
  if (!source) return tl::unexpected(source.error());
  job.input = source->recording;
  job.output = options.output;
  if (options.passage) {
    if (!source->take) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("--passage needs a take, and '{}' is none; lift it first, or give "
                              "--from and --to.",
                              options.input.string()));
    }
    for (const take::Passage& passage : source->take->passages) {
      if (passage.name == *options.passage) {
        job.begin_sample = passage.begin_samples;
        job.end_sample = passage.end_samples;
      }
    }
    if (!job.begin_sample) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              options.input.string(), *options.passage));
    }
  }
  if (options.from || options.to) {
    double rate_hz = 0.0;
    if (!source->take) {
      audio::OpenOptions quick;
      quick.with_content_hash = false;
      const auto reader = audio::open_recording(job.input, quick);
      if (!reader) return tl::unexpected(reader.error());
      rate_hz = (*reader)->info().sample_rate_hz;
    }
    for (const auto& [text, target] :
         {std::pair{&options.from, &job.begin_sample}, std::pair{&options.to, &job.end_sample}}) {
      if (!*text) continue;
      const auto sample = sample_from(**text, *source, rate_hz);
      if (!sample) return tl::unexpected(sample.error());
      *target = *sample;
    }
  }
  return job;
}

}  // namespace

ExitCode run_slow(const SlowOptions& options) {
  const auto job = job_from(options);
  if (!job) return tell(job.error());
  Result<audio::SlowReport> report;
  {
    ProgressLine line;
    report = audio::render_slow(*job, line.control());
  }
  if (!report) return tell(report.error());
  if (!report->recording.lost_note.empty()) {
    remark(fmt::format("'{}': {}", job->input.string(), report->recording.lost_note));
  }
  const double seconds = static_cast<double>(report->output_sample_count) /
                         static_cast<double>(report->recording.sample_rate_hz);
  fmt::print("saved: {} ({} at {:.0f} %{})\n", printable(options.output.string()),
             take::format_time(seconds), 100.0 * job->speed_ratio,
             report->was_limited ? ", peaks held down by the limiter" : "");
  return ExitCode::done;
}

}  // namespace lowstride::cli
