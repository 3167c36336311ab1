#include "src/analysis/lift.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>

#include <fmt/format.h>

#include "src/analysis/evidence_cache.hpp"
#include "src/analysis/fingering_edit.hpp"
#include "src/audio/recording.hpp"
#include "src/base/atomic_file.hpp"
#include "src/neck/named_necks.hpp"
#include "src/take/storage.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::analysis {
namespace {

namespace fs = std::filesystem;

/// Makes sure, before the long work, that the take can be written where it shall lie.
Result<void> probe_target(const fs::path& take_path) {
  const auto probe = PendingFile::create(take_path);
  if (!probe) {
    return fail(probe.error().code, probe.error().message + " (-o FILE names another place.)");
  }
  return {};
}

/// The take in the making: one that lies in a file already, or a new one that becomes a file when
/// all of it is known.
class Target {
 public:
  explicit Target(take::TakeFile file) : file_(std::move(file)) {}
  explicit Target(take::Take fresh) : fresh_(std::move(fresh)) {}

  [[nodiscard]] bool is_new() const noexcept { return !file_; }
  [[nodiscard]] const take::Take& take() const noexcept { return file_ ? file_->take() : fresh_; }

  [[nodiscard]] Result<void> apply(const take::Edit& edit) {
    if (file_) return file_->apply(edit);
    const auto undo = take::apply(fresh_, edit);
    if (!undo) return tl::unexpected(undo.error());
    return {};
  }
  [[nodiscard]] Result<void> save(const fs::path& path) {
    if (file_) return file_->save();
    auto created = take::TakeFile::create(path, fresh_);
    if (!created) return tl::unexpected(created.error());
    return {};
  }

 private:
  std::optional<take::TakeFile> file_;
  take::Take fresh_;
};

/// The hints as a person's own edits: they confirm what they touch.
Result<void> apply_hints(Target& target, const LiftJob& job, const Reading& reading) {
  const auto apply = [&target](const take::Edit& edit) { return target.apply(edit); };
  if (job.hints.beats_per_bar) {
    if (auto done = apply(take::SetMeter{*job.hints.beats_per_bar}); !done) return done;
  }
  if (job.hints.key) {
    if (auto done = apply(take::SetKey{job.hints.key->tonic_pc, job.hints.key->is_minor}); !done) {
      return done;
    }
  }
  if (job.hints.first_bar_seconds) {
    const std::int64_t sample =
        take::to_samples(*job.hints.first_bar_seconds, target.take().time_base_hz);
    if (const take::Beat* beat = take::nearest_beat(target.take(), sample)) {
      if (auto done = apply(take::BeatOne{.id = beat->id, .bar = 1}); !done) return done;
    }
  }
  take::EditGroup chart{.name = "Chords of the chart", .edits = {}};
  for (const dsp::FixedChord& known : reading.known_chords) {
    take::SetChord edit;
    edit.begin_samples = take::to_samples(known.begin_seconds, target.take().time_base_hz);
    edit.end_samples = std::min(take::to_samples(known.end_seconds, target.take().time_base_hz),
                                target.take().length_samples);
    edit.chord = known.chord;
    if (edit.begin_samples < edit.end_samples) chart.edits.emplace_back(std::move(edit));
  }
  if (chart.edits.empty()) return {};
  return apply(chart);
}

/// The neck and the fingering, after the notes are there.
Result<void> apply_fingering(Target& target, const LiftJob& job) {
  if (job.neck.is_made() || target.is_new()) {
    const auto neck = chosen_neck(job.neck, target.take().voice);
    if (!neck) return tl::unexpected(neck.error());
    auto done =
        target.apply(take::SetNeck{.neck = *neck, .octave_shift = target.take().octave_shift});
    if (!done) return done;
  }
  const auto fingering = fingering_edit(target.take(), job.octave_shift);
  if (!fingering) return tl::unexpected(fingering.error());
  return target.apply(*fingering);
}

/// From the cache, else by listening.
Result<dsp::Evidence> evidence_of(const audio::AnalysisAudio& sound, const WorkControl& control) {
  const EvidenceCache cache;
  const EvidenceKey key{sound.info().content_hash, sound.begin_sample(), sound.sample_count()};
  if (auto kept = cache.find(key)) return std::move(*kept);
  auto evidence = listen(sound, control);
  if (evidence) cache.keep(key, *evidence);
  return evidence;
}

audio::AnalysisAudioOptions range_of(const LiftJob& job, double rate_hz) {
  audio::AnalysisAudioOptions options;
  const auto samples = [rate_hz](double seconds) {
    return static_cast<std::int64_t>(std::llround(seconds * rate_hz));
  };
  if (job.from_seconds) options.begin_sample = samples(*job.from_seconds);
  if (job.to_seconds) options.end_sample = samples(*job.to_seconds);
  return options;
}

}  // namespace

take::Take fresh_take(const audio::RecordingInfo& info, const fs::path& recording,
                      const fs::path& take_path) {
  take::RecordingRef reference;
  reference.path = take::recording_path_for(recording, take_path);
  reference.sample_count = info.sample_count;
  reference.channel_count = info.channel_count;
  reference.content_hash = info.content_hash;
  return take::new_take(std::move(reference), info.sample_rate_hz, info.title);
}

Result<neck::Neck> chosen_neck(const NeckChoice& choice, take::Voice voice) {
  auto neck =
      neck::find_neck(choice.instrument.value_or(voice == take::Voice::guitar ? "guitar" : "bass"));
  if (neck && choice.tuning) neck = neck::with_tuning(*neck, *choice.tuning);
  if (!neck) return neck;
  neck->capo = choice.capo;
  if (const auto sound = neck::check(*neck); !sound) return tl::unexpected(sound.error());
  return neck;
}

Result<Heard> hear(const fs::path& recording, const audio::AnalysisAudioOptions& range,
                   const WorkControl& control) {
  const auto sound = audio::prepare_analysis_audio(recording, control, range);
  if (!sound) return tl::unexpected(sound.error());
  Heard heard;
  heard.info = sound->info();
  heard.begin_sample = sound->begin_sample();
  if (!heard.info.lost_note.empty()) {
    heard.remarks.push_back(fmt::format("'{}': {}", recording.string(), heard.info.lost_note));
  }
  if (heard.info.non_finite_count > 0) {
    heard.remarks.push_back(fmt::format("{} samples were not finite and count as silence.",
                                        heard.info.non_finite_count));
  }
  if (sound->is_polarity_turned()) {
    heard.remarks.emplace_back(
        "One channel's bass was upside down against the other's and was turned for listening.");
  }
  auto evidence = evidence_of(*sound, control);
  if (!evidence) return tl::unexpected(evidence.error());
  heard.evidence = std::move(*evidence);
  return heard;
}

Result<LiftReport> lift(const LiftJob& job, const WorkControl& control) {
  LiftReport report;
  report.take_path = job.take.empty() ? take::take_path_for(job.recording) : job.take;
  std::error_code ignored;
  const bool is_new = !fs::exists(report.take_path, ignored);
  std::optional<take::TakeFile> file;
  if (is_new) {
    if (const auto probe = probe_target(report.take_path); !probe) {
      return tl::unexpected(probe.error());
    }
  }
  double rate_hz = 0.0;
  {
    audio::OpenOptions quick;
    quick.with_content_hash = !is_new;
    const auto reader = audio::open_recording(job.recording, quick, control);
    if (!reader) return tl::unexpected(reader.error());
    rate_hz = (*reader)->info().sample_rate_hz;
    if (!is_new) {
      auto opened = take::TakeFile::open_or_create(
          report.take_path, fresh_take((*reader)->info(), job.recording, report.take_path));
      if (!opened) return tl::unexpected(opened.error());
      file = std::move(*opened);
      report.remarks = file->messages();
    }
  }
  auto heard = hear(job.recording, range_of(job, rate_hz), control);
  if (!heard) return tl::unexpected(heard.error());
  std::ranges::move(heard->remarks, std::back_inserter(report.remarks));
  const audio::RecordingInfo& info = heard->info;
  control.report("Reading", 0.92);
  Target target =
      file ? Target(std::move(*file)) : Target(fresh_take(info, job.recording, report.take_path));
  take::Take base = target.take();
  if (job.neck.is_made()) {
    const auto neck =
        chosen_neck(job.neck, job.hints.voice.value_or(guessed_voice(heard->evidence)));
    if (!neck) return tl::unexpected(neck.error());
    base.neck = *neck;
  }
  const double begin_seconds = take::to_seconds(heard->begin_sample, base.time_base_hz);
  const Reading reading = read_evidence(heard->evidence, begin_seconds, base, job.hints);
  if (control.is_cancelled()) return fail(ErrorCode::cancelled, "The analysis was stopped.");
  report.rival_bpm = reading.proposals.grid.rival_bpm;
  heard->evidence = {};  // what follows takes memory of its own

  const std::int64_t begin = heard->begin_sample;
  const std::int64_t length = target.take().length_samples;
  const std::int64_t end =
      job.to_seconds ? take::to_samples(*job.to_seconds, target.take().time_base_hz) : length;
  auto done = target.apply(
      take::proposals_edit(target.take(), reading.proposals, begin, std::min(end, length)));
  if (done) done = apply_hints(target, job, reading);
  if (done) done = apply_fingering(target, job);
  if (done) done = target.save(report.take_path);
  if (!done) return tl::unexpected(done.error());
  report.take = target.take();
  return report;
}

}  // namespace lowstride::analysis
