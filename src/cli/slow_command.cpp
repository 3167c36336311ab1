#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "src/audio/practice.hpp"
#include "src/audio/score_of_take.hpp"
#include "src/audio/slow.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/level_option.hpp"
#include "src/cli/sound_source.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::cli {
namespace {

constexpr double line_gain_db = -3.0;
constexpr double chords_gain_db = -9.0;

/// Whether a stretcher alone does it: then a file that must be decoded streams by.
bool is_plain(const audio::PracticeJob& job) {
  return job.input && job.options.speed_ratios.size() == 1 && job.options.count_in_bars == 0 &&
         job.options.click == audio::ClickPattern::none && !job.line_gain_db &&
         !job.chords_gain_db && job.low_voice == audio::LowVoiceSettings{} &&
         job.options.fade_in_seconds == 0.0;
}

/// "50%..100%:5%": from, to, step (5 % when left out).
Result<std::vector<double>> typed_ramp(const std::string& text, int repeat) {
  const auto dots = text.find("..");
  const auto colon = text.find(':', dots == std::string::npos ? 0 : dots);
  if (dots == std::string::npos) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--ramp '{}': say from, to and step, as 50%..100%:5%.", text));
  }
  const auto from = typed_speed(text.substr(0, dots), "--ramp");
  if (!from) return tl::unexpected(from.error());
  const auto to = typed_speed(text.substr(dots + 2, colon - dots - 2), "--ramp");
  if (!to) return tl::unexpected(to.error());
  double step = 0.05;
  if (colon != std::string::npos) {
    std::string word = text.substr(colon + 1);
    if (word.ends_with('%')) word.pop_back();
    char* stop = nullptr;
    step = std::strtod(word.c_str(), &stop) / 100.0;
    if (word.empty() || *stop != '\0' || !(step > 0.0)) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("--ramp '{}': the step after ':' must be a share, as 5%.", text));
    }
  }
  return audio::ramp_speeds(*from, *to, step, repeat);
}

Result<std::vector<double>> speeds_from(const SlowOptions& options, const SoundSource& source,
                                        const TypedStretch& stretch) {
  if (options.ramp) return typed_ramp(*options.ramp, options.repeat);
  // A level is written at the tempo that is asked for.
  auto speed = options.tempo_bpm && !options.level
                   ? speed_for_tempo(*options.tempo_bpm, source, stretch)
                   : typed_speed(options.speed.value_or("100%"), "--speed");
  if (!speed) return tl::unexpected(speed.error());
  return std::vector<double>(static_cast<std::size_t>(options.repeat), *speed);
}

/// Title of the take and name of the passage; empty for a recording alone, whose own title serves.
audio::AudioTags tags_from(const SlowOptions& options, const SoundSource& source,
                           const TypedStretch& stretch) {
  audio::AudioTags tags;
  tags.title = options.title;
  if (tags.title.empty() && source.take) {
    tags.title = source.take->title.empty() ? source.input.stem().string() : source.take->title;
  }
  if (!tags.title.empty() && !stretch.passage_name.empty()) {
    tags.title += ", " + stretch.passage_name;
  }
  if (source.take) tags.artist = source.take->composer;
  if (stretch.begin_sample || stretch.end_sample) {
    const auto text = [&](std::int64_t sample) {
      return source.take ? take::format_place(sample, *source.take)
                         : take::format_time(static_cast<double>(sample) / source.rate_hz);
    };
    tags.comment = "From " + text(stretch.begin_sample.value_or(0));
    if (stretch.end_sample) tags.comment += " to " + text(*stretch.end_sample);
  }
  return tags;
}

Result<audio::PracticeJob> job_from(const SlowOptions& options, const SoundSource& source) {
  audio::PracticeJob job;
  const auto stretch = typed_stretch(options.stretch, source);
  if (!stretch) return tl::unexpected(stretch.error());
  const auto speeds = speeds_from(options, source, *stretch);
  if (!speeds) return tl::unexpected(speeds.error());
  const auto shift = typed_shift(options.semitones, options.cents);
  if (!shift) return tl::unexpected(shift.error());
  job.input = source.recording;
  job.time_base_hz = source.rate_hz;
  job.output = options.output;
  job.begin_sample = stretch->begin_sample;
  job.end_sample = stretch->end_sample;
  if (source.take) job.score = audio::score_of_take(*source.take);
  job.options.speed_ratios = *speeds;
  job.options.shift_semitones = *shift;
  job.options.count_in_bars = options.count_in_bars;
  job.options.click = click_pattern(options.click);
  if (has_word(options.with, "click") && !options.click) {
    job.options.click = audio::ClickPattern::all;
  }
  if (has_word(options.with, "line")) job.line_gain_db = line_gain_db;
  if (has_word(options.with, "chords")) job.chords_gain_db = chords_gain_db;
  job.low_voice = low_voice_settings(options.bass, options.octave_up);
  job.sample_format =
      options.bits == 24 ? audio::SampleFormat::pcm_24 : audio::SampleFormat::pcm_16;
  job.tags = tags_from(options, source, *stretch);
  if (options.level && options.with.empty()) {
    job.line_gain_db = line_gain_db;
    job.chords_gain_db = chords_gain_db;
    if (!options.click) job.options.click = audio::ClickPattern::all;
  }
  // A recording that is only slowed keeps its first attack as it is.
  job.options.fade_in_seconds = options.fade_in_seconds.value_or(0.0);
  if (!options.fade_in_seconds && !is_plain(job)) {
    job.options.fade_in_seconds = audio::PracticeOptions().fade_in_seconds;
  }
  const bool wants_voices = job.line_gain_db || job.chords_gain_db;
  if (wants_voices && !source.take) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--with line and chords need a take, and '{}' is none; lift it first.",
                            options.input.string()));
  }
  if (!job.input && !wants_voices && job.options.click == audio::ClickPattern::none) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is to be heard without a recording; say what of it: --with "
                            "line,chords,click.",
                            options.input.string()));
  }
  return job;
}

struct Rendered {
  audio::RecordingInfo recording;
  double seconds = 0.0;
  bool was_limited = false;
};

Result<Rendered> render(const audio::PracticeJob& job, const WorkControl& control) {
  if (!is_plain(job)) {
    const auto report = audio::render_practice(job, control);
    if (!report) return tl::unexpected(report.error());
    return Rendered{report->recording,
                    static_cast<double>(report->plan.output_sample_count) / report->sample_rate_hz,
                    report->was_limited};
  }
  audio::SlowJob slow;
  slow.input = *job.input;
  slow.output = job.output;
  slow.speed_ratio = job.options.speed_ratios.front();
  slow.shift_semitones = job.options.shift_semitones;
  slow.begin_sample = job.begin_sample;
  slow.end_sample = job.end_sample;
  slow.sample_format = job.sample_format;
  slow.tags = job.tags;
  const auto report = audio::render_slow(slow, control);
  if (!report) return tl::unexpected(report.error());
  return Rendered{
      report->recording,
      static_cast<double>(report->output_sample_count) / report->recording.sample_rate_hz,
      report->was_limited};
}

std::string what_was_made(const audio::PracticeJob& job, const Rendered& rendered) {
  const std::vector<double>& speeds = job.options.speed_ratios;
  std::string text =
      fmt::format("{} at {:.4g}", take::format_time(rendered.seconds), 100.0 * speeds.front());
  if (speeds.back() != speeds.front()) text += fmt::format(" to {:.4g}", 100.0 * speeds.back());
  text += " %";
  if (speeds.size() > 1) text += fmt::format(", {} times through", speeds.size());
  if (!(job.low_voice == audio::LowVoiceSettings{})) {
    text += ", ";
    text += audio::low_voice_source(!job.score.notes.empty());
  }
  if (rendered.was_limited) text += ", peaks held down by the limiter";
  return text;
}

}  // namespace

ExitCode run_slow(const SlowOptions& options) {
  auto source = sound_source(options.input, !options.without_recording && !options.level);
  if (!source) return tell(source.error());
  if (options.level) {
    if (!source->take) {
      return tell({ErrorCode::invalid_argument,
                   fmt::format("--level needs a take, and '{}' is none; lift it first.",
                               options.input.string())});
    }
    auto part = at_level(*source->take, options.level, options.input, options.tempo_bpm);
    if (!part) return tell(part.error());
    source->rate_hz = static_cast<double>(part->time_base_hz);
    source->take = std::move(*part);
  }
  const auto job = job_from(options, *source);
  if (!job) return tell(job.error());
  Result<Rendered> rendered;
  {
    ProgressLine line;
    rendered = render(*job, line.control());
  }
  if (!rendered) return tell(rendered.error());
  if (!rendered->recording.lost_note.empty()) {
    remark(fmt::format("'{}': {}", job->input->string(), rendered->recording.lost_note));
  }
  fmt::print("saved: {} ({})\n", printable(options.output.string()),
             what_was_made(*job, *rendered));
  return ExitCode::done;
}

}  // namespace lowstride::cli
