#include <algorithm>
#include <charconv>
#include <string>

#include <fmt/format.h>

#include "src/analysis/lift.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/lift_batch.hpp"
#include "src/sheet/summary.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::cli {
namespace {

Result<std::optional<int>> octave_from(const std::string& text) {
  if (text == "auto") return std::optional<int>{};
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  const char* end = text.data() + text.size();
  int value = 0;
  const auto [stop, error] = std::from_chars(begin, end, value);
  if (error != std::errc() || stop != end || value < -3 || value > 3) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--octave '{}': say auto, 0, +1 or -1 (3 at most).", text));
  }
  return std::optional<int>{value};
}

/// A time of the command line: bars count where the recording has a take already.
Result<std::optional<double>> seconds_from(const std::optional<std::string>& text,
                                           const std::filesystem::path& take_path) {
  if (!text) return std::optional<double>{};
  if (text->starts_with('b')) {
    const auto loaded = take::load_take(take_path);
    if (!loaded) {
      return fail(
          ErrorCode::invalid_argument,
          fmt::format("'{}' counts bars, and there are none yet; give seconds or minutes.", *text));
    }
    const auto sample = take::parse_time(*text, loaded->take);
    if (!sample) return tl::unexpected(sample.error());
    return std::optional<double>{static_cast<double>(*sample) /
                                 static_cast<double>(loaded->take.time_base_hz)};
  }
  const auto seconds = take::parse_seconds(*text);
  if (!seconds) return tl::unexpected(seconds.error());
  return std::optional<double>{*seconds};
}

Result<analysis::LiftJob> job_from(const LiftOptions& options) {
  analysis::LiftJob job;
  job.recording = options.recordings.front();
  job.take = options.output.empty() ? take::take_path_for(job.recording) : options.output;
  if (options.voice) {
    job.hints.voice = *options.voice == "guitar" ? take::Voice::guitar : take::Voice::bass;
  }
  job.hints.tempo_bpm = options.tempo_bpm;
  if (options.meter) job.hints.beats_per_bar = options.meter->front() - '0';
  if (options.key) {
    const auto key = theory::parse_key(*options.key);
    if (!key) return tl::unexpected(key.error());
    job.hints.key = dsp::DecodedKey{key->tonic_pc, key->is_minor, 1.0};
  }
  if (!options.chords.empty()) {
    auto chart = analysis::ChordChart::read(options.chords);
    if (!chart) return tl::unexpected(chart.error());
    job.hints.chords = std::move(*chart);
  }
  const auto octave = octave_from(options.octave);
  if (!octave) return tl::unexpected(octave.error());
  job.octave_shift = *octave;
  job.neck = {options.instrument, options.tuning, options.capo};
  // A name that makes no sense is said before the long work.
  const auto neck = analysis::chosen_neck(job.neck, job.hints.voice.value_or(take::Voice::bass));
  if (!neck) return tl::unexpected(neck.error());
  for (const auto& [text, target] :
       {std::pair{&options.first_bar, &job.hints.first_bar_seconds},
        std::pair{&options.from, &job.from_seconds}, std::pair{&options.to, &job.to_seconds}}) {
    const auto seconds = seconds_from(*text, job.take);
    if (!seconds) return tl::unexpected(seconds.error());
    *target = *seconds;
  }
  if (job.from_seconds && job.to_seconds && *job.from_seconds >= *job.to_seconds) {
    return fail(ErrorCode::invalid_argument, "--from lies behind --to; swap them.");
  }
  return job;
}

ExitCode lift_one(const LiftOptions& options) {
  const auto job = job_from(options);
  if (!job) return tell(job.error());
  Result<analysis::LiftReport> report;
  {
    ProgressLine line;
    report = analysis::lift(*job, line.control());
  }
  if (!report) return tell(report.error());
  for (const std::string& sentence : report->remarks) remark(sentence);
  sheet::TextTabOptions tab;
  tab.width_columns = options.width > 0 ? options.width : std::max(40, terminal_columns(100));
  fmt::print("{}\n{}", sheet::render_text_tab(report->take, tab),
             sheet::render_summary(report->take));
  if (report->rival_bpm) {
    fmt::print("Counting  perhaps at {0:.0f} bpm (--tempo {0:.0f} reads it so)\n",
               *report->rival_bpm);
  }
  if (!options.voice && !report->take.notes.empty()) {
    const bool is_guitar = report->take.voice == take::Voice::guitar;
    fmt::print("Voice     {} (by its sound; --voice {} reads it otherwise)\n",
               is_guitar ? "the bass of one guitar that plays chords too" : "bass",
               is_guitar ? "bass" : "guitar");
  }
  fmt::print("Saved     {}\n", printable(report->take_path.string()));
  return ExitCode::done;
}

}  // namespace

ExitCode run_lift(const LiftOptions& options) {
  return is_batch(options) ? run_lift_batch(options, lift_one) : lift_one(options);
}

}  // namespace lowstride::cli
