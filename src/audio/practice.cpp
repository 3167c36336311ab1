#include "src/audio/practice.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "dsp/voices/click.hpp"
#include "src/audio/fade_in.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/score_voices.hpp"
#include "src/audio/slow_stream.hpp"

namespace lowstride::audio {
namespace {

constexpr double fade_seconds = 5e-3;

/// Adds the clicks of a plan to what goes by.
class ClickMixer {
 public:
  ClickMixer(const PracticePlan& plan, double sample_rate_hz, double gain_db) : plan_(plan) {
    dsp::ClickOptions options;
    options.sample_rate_hz = sample_rate_hz;
    options.gain_db = gain_db - 3.0;
    plain_ = dsp::make_click(options);
    options.gain_db = gain_db;
    options.pitch_hz *= 4.0 / 3.0;
    accent_ = dsp::make_click(options);
  }

  /// `block`: the output's samples from `begin` on; blocks come in order.
  void mix(dsp::MutableAudioView block, std::int64_t begin) {
    const auto end = begin + static_cast<std::int64_t>(block.sample_count);
    const auto length = static_cast<std::int64_t>(plain_.size());
    while (first_ < plan_.clicks.size() && plan_.clicks[first_].sample + length <= begin) ++first_;
    for (std::size_t i = first_; i < plan_.clicks.size() && plan_.clicks[i].sample < end; ++i) {
      const std::int64_t place = plan_.clicks[i].sample;
      const std::vector<float>& click = plan_.clicks[i].is_accent ? accent_ : plain_;
      const std::int64_t from = std::max(begin, place);
      const std::int64_t to = std::min(end, place + length);
      for (std::size_t c = 0; c < block.channel_count(); ++c) {
        const auto channel = block.channel(c);
        for (std::int64_t s = from; s < to; ++s) {
          channel[static_cast<std::size_t>(s - begin)] +=
              click[static_cast<std::size_t>(s - place)];
        }
      }
    }
  }

 private:
  const PracticePlan& plan_;
  std::vector<float> plain_;
  std::vector<float> accent_;
  std::size_t first_ = 0;  // clicks before it are over
};

/// Fades a repetition in and out where it was cut out of the recording.
class EdgeFade {
 public:
  EdgeFade(double sample_rate_hz, bool is_cut_before, bool is_cut_after)
      : length_(static_cast<std::int64_t>(fade_seconds * sample_rate_hz)),
        is_cut_before_(is_cut_before),
        is_cut_after_(is_cut_after) {}

  /// `block`: a repetition's samples from its `begin`th on, of `total`.
  void apply(dsp::MutableAudioView block, std::int64_t begin, std::int64_t total) const {
    for (std::size_t i = 0; i < block.sample_count; ++i) {
      const std::int64_t place = begin + static_cast<std::int64_t>(i);
      double gain = 1.0;
      if (is_cut_before_ && place < length_) gain *= rise(place);
      if (is_cut_after_ && total - 1 - place < length_) gain *= rise(total - 1 - place);
      if (gain == 1.0) continue;
      for (std::size_t c = 0; c < block.channel_count(); ++c) {
        block.channels[c][i] *= static_cast<float>(gain);
      }
    }
  }

 private:
  [[nodiscard]] double rise(std::int64_t place) const {
    return 0.5 - 0.5 * std::cos(std::numbers::pi * (static_cast<double>(place) + 0.5) /
                                static_cast<double>(length_));
  }
  std::int64_t length_;
  bool is_cut_before_;
  bool is_cut_after_;
};

/// A stretch of a recording in blocks for a SlowStream.
class PassageSource {
 public:
  PassageSource(SampleReader& reader, std::int64_t end)
      : reader_(reader),
        end_(end),
        planes_(static_cast<std::size_t>(reader.info().channel_count), slow_block_samples),
        block_(slow_block_samples * planes_.channel_count()) {}

  Result<std::span<const float>> next() {
    const auto wanted = static_cast<std::size_t>(std::min<std::int64_t>(
        end_ - reader_.position(), static_cast<std::int64_t>(slow_block_samples)));
    const auto view = planes_.part(0, wanted);
    const auto count = reader_.read(view);
    if (!count) return tl::unexpected(count.error());
    for (std::size_t c = 0; c < view.channel_count(); ++c) {
      for (std::size_t i = 0; i < *count; ++i) {
        block_[i * view.channel_count() + c] = view.channels[c][i];
      }
    }
    return std::span<const float>(block_).first(*count * view.channel_count());
  }

 private:
  SampleReader& reader_;
  std::int64_t end_;
  Planes planes_;
  std::vector<float> block_;  // interleaved
};

AudioTags tags_for(const PracticeJob& job, const RecordingInfo& info) {
  AudioTags tags = job.tags;
  const std::vector<double>& speeds = job.options.speed_ratios;
  if (tags.title.empty()) {
    tags.title = info.title.empty() ? info.path.stem().string() : info.title;
  }
  tags.title += fmt::format(" ({:.4g}", speeds.front() * 100.0);
  if (speeds.back() != speeds.front())
    tags.title += fmt::format(" to {:.4g}", speeds.back() * 100.0);
  tags.title += " %)";
  if (tags.artist.empty()) tags.artist = info.artist;
  return tags;
}

/// The resynthesised line and chords on top of what goes by.
class VoicesMixer {
 public:
  VoicesMixer(const PracticeJob& job, double sample_rate_hz)
      : line_gain_(factor(job.line_gain_db)),
        chords_gain_(factor(job.chords_gain_db)),
        settings_{.shift_semitones = job.options.shift_semitones, .click = ClickPattern::none},
        voices_(sample_rate_hz) {
    if (is_heard()) voices_.set_score(std::make_shared<const Score>(job.score), 0.0);
  }

  void begin(std::int64_t place) {
    if (is_heard()) voices_.jump(static_cast<double>(place), false);
  }

  /// Adds to a block during which the place goes from `from_place` on by `speed` a sample; by 0 in
  /// a count-in, under which the strings only ring out.
  void mix(dsp::MutableAudioView block, double from_place, double speed) {
    if (!is_heard()) return;
    for (std::size_t done = 0; done < block.sample_count;) {
      const std::size_t count = std::min(PlayChunk::capacity, block.sample_count - done);
      for (auto& voice : chunk_.voices) voice.fill(0.0F);
      const double place = from_place + speed * static_cast<double>(done);
      if (speed > 0.0) {
        voices_.render(chunk_, 0, count, place, place + speed * static_cast<double>(count),
                       settings_);
      } else {
        voices_.ring(chunk_, 0, count);
      }
      for (std::size_t c = 0; c < block.channel_count(); ++c) {
        for (std::size_t i = 0; i < count; ++i) {
          block.channels[c][done + i] += line_gain_ * chunk_.voices[PlayChunk::line][i] +
                                         chords_gain_ * chunk_.voices[PlayChunk::chords][i];
        }
      }
      done += count;
    }
  }

 private:
  static float factor(const std::optional<double>& gain_db) {
    return gain_db ? static_cast<float>(std::pow(10.0, *gain_db / 20.0)) : 0.0F;
  }
  [[nodiscard]] bool is_heard() const { return line_gain_ > 0.0F || chords_gain_ > 0.0F; }

  float line_gain_;
  float chords_gain_;
  ScoreVoicesSettings settings_;
  ScoreVoices voices_;
  PlayChunk chunk_;
};

/// One job under way: what its parts share. `reader` is null without a recording.
class Rendering {
 public:
  Rendering(const PracticeJob& job, SampleReader* reader, int sample_rate_hz,
            const PracticePlan& plan, AudioWriter& writer, const WorkControl& control)
      : job_(job),
        reader_(reader),
        plan_(plan),
        control_(control),
        rate_hz_(sample_rate_hz),
        outlet_(writer, rate_hz_, writer.channel_count()),
        clicks_(plan, rate_hz_, job.options.click_gain_db),
        voices_(job, rate_hz_),
        fade_in_(job.options.fade_in_seconds, rate_hz_),
        planes_(writer.channel_count(), slow_block_samples) {}

  Result<void> run(std::int64_t begin, std::int64_t end) {
    fade_in_.begin();
    for (const PracticePlan::Repetition& repetition : plan_.repetitions) {
      if (auto done = silence(repetition.begin_sample, 0.0, 0.0); !done) return done;
      voices_.begin(begin);
      auto done = reader_ == nullptr ? silence(repetition.end_sample, static_cast<double>(begin),
                                               repetition.speed_ratio)
                                     : passage(repetition, begin, end);
      if (!done) return done;
    }
    return outlet_.finish();
  }

  [[nodiscard]] const LimitedOutlet& outlet() const { return outlet_; }

 private:
  /// Silence under clicks and voices, up to sample `end` of the output; the place in the score goes
  /// on from `place` by `speed` a sample.
  Result<void> silence(std::int64_t end, double place, double speed) {
    while (outlet_.put_sample_count() < end) {
      const auto count = static_cast<std::size_t>(std::min<std::int64_t>(
          end - outlet_.put_sample_count(), static_cast<std::int64_t>(slow_block_samples)));
      planes_.clear(0, count);
      voices_.mix(planes_.part(0, count), place, speed);
      place += speed * static_cast<double>(count);
      if (auto done = put(count); !done) return done;
    }
    return {};
  }

  Result<void> passage(const PracticePlan::Repetition& repetition, std::int64_t begin,
                       std::int64_t end) {
    if (auto placed = reader_->seek(begin); !placed) return placed;
    PassageSource source(*reader_, end);
    SlowStreamOptions slow;
    slow.sample_rate_hz = rate_hz_;
    slow.channel_count = planes_.channel_count();
    slow.speed_ratio = repetition.speed_ratio;
    slow.shift_semitones = job_.options.shift_semitones;
    SlowStream stream(slow, [&source] { return source.next(); });
    const EdgeFade fade(rate_hz_, begin > 0, end < reader_->info().sample_count);
    const std::int64_t total = repetition.end_sample - repetition.begin_sample;
    std::int64_t place = 0;
    while (true) {
      const auto view = planes_.part(0, slow_block_samples);
      const auto count = stream.read(view);
      if (!count) return tl::unexpected(count.error());
      fade.apply(planes_.part(0, *count), place, total);
      voices_.mix(planes_.part(0, *count),
                  static_cast<double>(begin) + static_cast<double>(place) * repetition.speed_ratio,
                  repetition.speed_ratio);
      place += static_cast<std::int64_t>(*count);
      if (auto done = put(*count); !done) return done;
      if (*count < slow_block_samples) return {};
    }
  }

  Result<void> put(std::size_t count) {
    if (control_.is_cancelled()) {
      return fail(ErrorCode::cancelled, "Stopped while rendering " + quoted(job_.output) + ".");
    }
    clicks_.mix(planes_.part(0, count), outlet_.put_sample_count());
    fade_in(planes_.part(0, count));
    control_.report("Rendering", static_cast<double>(outlet_.put_sample_count()) /
                                     static_cast<double>(plan_.output_sample_count));
    return outlet_.put(planes_, count);
  }

  void fade_in(dsp::MutableAudioView block) {
    for (std::size_t i = 0; i < block.sample_count && !fade_in_.is_over(); ++i) {
      float level = 0.0F;
      for (const float* channel : block.channels) level = std::max(level, std::abs(channel[i]));
      const float gain = fade_in_.next(level);
      for (float* channel : block.channels) channel[i] *= gain;
    }
  }

  const PracticeJob& job_;
  SampleReader* reader_;
  const PracticePlan& plan_;
  const WorkControl& control_;
  double rate_hz_;
  LimitedOutlet outlet_;
  ClickMixer clicks_;
  VoicesMixer voices_;
  FadeIn fade_in_;
  Planes planes_;
};

Error begins_too_late(const PracticeJob& job, const RecordingInfo& info) {
  return {ErrorCode::invalid_argument,
          fmt::format("The passage begins after the end of {}, which is {} long; choose an earlier "
                      "one.",
                      job.input ? quoted(*job.input) : "the take",
                      spoken_duration(info.duration_seconds()))};
}

/// The job's recording with its low voice as asked, or null without one.
Result<std::unique_ptr<SampleReader>> open_input(const PracticeJob& job,
                                                 const WorkControl& control) {
  if (!job.input) {
    if (job.score.length_samples > 0) return nullptr;
    return fail(ErrorCode::invalid_argument,
                "There is nothing to render: no recording, and a take without a length.");
  }
  std::error_code error;
  if (std::filesystem::equivalent(*job.input, job.output, error)) {
    return fail(ErrorCode::invalid_argument,
                quoted(job.output) + " is the recording itself; choose another name to write to.");
  }
  OpenOptions open = job.open;
  open.with_content_hash = false;
  // A passage that ends early needs no more than what is before its end.
  open.reads_while_decoding = job.end_sample.has_value();
  auto reader = open_recording(*job.input, open, control);
  if (!reader || job.low_voice == LowVoiceSettings{}) return reader;
  auto low = std::make_unique<LowVoiceReader>(std::move(*reader), job.score.notes, job.score.a4_hz);
  if (auto set = low->set(job.low_voice); !set) return tl::unexpected(set.error());
  return low;
}

}  // namespace

Result<PracticeReport> render_practice(const PracticeJob& job, const WorkControl& control) {
  if (!(std::abs(job.options.shift_semitones) <= largest_shift_semitones)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The transposition must lie between -{0:.0f} and {0:.0f} semitones.",
                            largest_shift_semitones));
  }
  auto opened = open_input(job, control);
  if (!opened) return tl::unexpected(opened.error());
  SampleReader* const reader = opened->get();
  RecordingInfo info;
  if (reader != nullptr) {
    info = reader->info();
  } else {
    info.sample_rate_hz = static_cast<int>(std::lround(job.time_base_hz));
    info.channel_count = 1;
    info.sample_count = job.score.length_samples;
  }
  const std::int64_t begin = job.begin_sample.value_or(0);
  const std::int64_t end = std::min(
      job.end_sample.value_or(std::numeric_limits<std::int64_t>::max()), info.sample_count);
  if (begin >= info.sample_count) {
    return tl::unexpected(begins_too_late(job, info));
  }
  auto plan = plan_practice(job.score.beats, begin, end, job.options);
  if (!plan) return tl::unexpected(plan.error());

  WriteOptions options;
  options.sample_rate_hz = info.sample_rate_hz;
  options.channel_count = info.channel_count;
  options.sample_format = job.sample_format;
  options.expected_sample_count = plan->output_sample_count;
  options.tags = tags_for(job, info);
  auto writer = AudioWriter::create(job.output, options);
  if (!writer) return tl::unexpected(writer.error());
  Rendering rendering(job, reader, info.sample_rate_hz, *plan, **writer, control);
  if (auto done = rendering.run(begin, end); !done) return tl::unexpected(done.error());
  if (reader != nullptr && begin >= reader->info().sample_count) {
    return tl::unexpected(begins_too_late(job, reader->info()));
  }
  if (auto committed = (*writer)->commit(); !committed) return tl::unexpected(committed.error());
  PracticeReport report;
  if (reader != nullptr) report.recording = reader->info();
  report.sample_rate_hz = info.sample_rate_hz;
  report.plan = std::move(*plan);
  report.output_peak = rendering.outlet().peak();
  report.was_limited = rendering.outlet().was_limited();
  return report;
}

}  // namespace lowstride::audio
