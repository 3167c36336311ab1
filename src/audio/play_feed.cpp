#include "src/audio/play_feed.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace lowstride::audio {
namespace {

constexpr double longest_seam_seconds = 5e-3;        // of the recording
constexpr double longest_heard_seam_seconds = 8e-3;  // as it is heard, slowed

std::int64_t seam_samples(double speed_ratio, double sample_rate_hz) {
  return std::llround(sample_rate_hz *
                      std::min(longest_seam_seconds, longest_heard_seam_seconds * speed_ratio));
}

ScoreVoicesSettings voices_settings(const PlayerSettings& settings) {
  return {.shift_semitones = settings.shift_semitones, .click = settings.click};
}

}  // namespace

PlayFeed::PlayFeed(std::unique_ptr<SampleReader> reader, std::shared_ptr<const Score> score,
                   double sample_rate_hz, std::int64_t length_samples)
    : sample_rate_hz_(sample_rate_hz),
      length_samples_(length_samples),
      score_(std::move(score)),
      voices_(sample_rate_hz),
      reader_(reader ? std::make_unique<LoopReader>(std::make_unique<LowVoiceReader>(
                           std::move(reader), score_->notes, score_->a4_hz))
                     : nullptr),
      input_(reader_ ? reader_->channel_count() : 1, 1024) {
  voices_.set_score(score_, 0.0);
  if (!reader_) return;
  dsp::StretchOptions options;
  options.sample_rate_hz = sample_rate_hz;
  options.channel_count = reader_->channel_count();
  options.lowest_speed = lowest_speed_ratio;
  options.highest_speed = highest_speed_ratio;  // a small range keeps the read-ahead short
  stretcher_ = std::make_unique<dsp::Stretcher>(options);
}

void PlayFeed::set_score(std::shared_ptr<const Score> score) {
  if (reader_ && score->notes != score_->notes) {
    reader_->low_voice().set_notes(score->notes, score->a4_hz);
  }
  score_ = std::move(score);
  voices_.set_score(score_, place());
}

double PlayFeed::place() const noexcept {
  if (is_counting_in_ || !reader_) return free_place_;
  return reader_->place_of(stretcher_->position_samples());
}

Result<void> PlayFeed::restart(double place, const PlayerSettings& settings, int count_in_bars) {
  const auto sample =
      std::clamp<std::int64_t>(std::llround(place), 0, std::max<std::int64_t>(length_samples(), 0));
  lead_.clear();
  if (count_in_bars > 0 && score_->beats.size() >= 2) {
    lead_ = count_in_before(score_->beats, sample, count_in_bars);
  }
  next_lead_ = 0;
  is_counting_in_ = !lead_.empty();
  lead_ends_ = static_cast<double>(sample);
  free_place_ = is_counting_in_ ? lead_.front().time_samples : lead_ends_;
  loop_ = settings.loop;
  if (loop_ && sample >= loop_->end_sample) loop_.reset();
  if (is_counting_in_) {
    voices_.jump(static_cast<double>(length_samples()), true);
  } else {
    voices_.jump(lead_ends_, true);
  }
  if (!reader_) return {};
  stretcher_->reset();
  input_begin_ = input_end_ = 0;
  is_input_over_ = is_drained_ = false;
  if (auto set = reader_->low_voice().set(settings.low_voice); !set) return set;
  return reader_->restart(sample, settings.loop,
                          seam_samples(settings.speed_ratio, sample_rate_hz_));
}

Result<void> PlayFeed::make(PlayChunk& chunk, const PlayerSettings& settings) {
  for (auto& voice : chunk.voices) voice.fill(0.0F);
  chunk.sample_count = 0;
  chunk.is_end = false;
  chunk.is_counting_in = is_counting_in_;
  if (is_counting_in_) {
    make_count_in(chunk, settings);
    return {};
  }
  if (reader_) return make_recorded(chunk, settings);
  make_silent(chunk, settings);
  return {};
}

void PlayFeed::make_count_in(PlayChunk& chunk, const PlayerSettings& settings) {
  const double speed = settings.speed_ratio;
  chunk.begin_place = free_place_;
  const double left = std::ceil((lead_ends_ - free_place_) / speed);
  chunk.sample_count =
      static_cast<std::size_t>(std::clamp(left, 1.0, static_cast<double>(PlayChunk::capacity)));
  std::size_t done = 0;
  for (; next_lead_ < lead_.size(); ++next_lead_) {
    const double wait = (lead_[next_lead_].time_samples - chunk.begin_place) / speed + 0.5;
    if (wait >= static_cast<double>(chunk.sample_count)) break;
    const auto until = std::max(done, static_cast<std::size_t>(std::max(wait, 0.0)));
    voices_.ring(chunk, done, until - done);
    done = until;
    voices_.strike_click(lead_[next_lead_].is_accent);
  }
  voices_.ring(chunk, done, chunk.sample_count - done);
  free_place_ += speed * static_cast<double>(chunk.sample_count);
  if (free_place_ >= lead_ends_) {
    free_place_ = lead_ends_;
    is_counting_in_ = false;
    voices_.jump(lead_ends_, false);
  }
  chunk.end_place = free_place_;
}

void PlayFeed::make_silent(PlayChunk& chunk, const PlayerSettings& settings) {
  const double speed = settings.speed_ratio;
  const double end = static_cast<double>(loop_ ? loop_->end_sample : length_samples_);
  chunk.begin_place = free_place_;
  const double left = std::ceil((end - free_place_) / speed);
  if (left <= 0.0) {
    chunk.end_place = free_place_;
    chunk.is_end = true;
    return;
  }
  chunk.sample_count =
      static_cast<std::size_t>(std::min(left, static_cast<double>(PlayChunk::capacity)));
  free_place_ += speed * static_cast<double>(chunk.sample_count);
  chunk.end_place = std::min(free_place_, end);
  voices_.render(chunk, 0, chunk.sample_count, chunk.begin_place, free_place_,
                 voices_settings(settings));
  if (loop_ && free_place_ >= end) {
    // What the last sample went too far counts for the next round, so that the pulse stays exact.
    const auto begin = static_cast<double>(loop_->begin_sample);
    voices_.jump(begin, false);
    free_place_ = begin + (free_place_ - end);
  }
}

/// How many samples may be made before the place jumps: never past it.
std::size_t PlayFeed::wanted_samples(std::size_t room) noexcept {
  const double stream = stretcher_->position_samples();
  const auto jump = reader_->next_jump(stream);
  if (!jump) return room;
  const double left = (static_cast<double>(*jump) - stream) / highest_speed_ratio;
  return static_cast<std::size_t>(std::clamp(std::floor(left), 1.0, static_cast<double>(room)));
}

Result<std::size_t> PlayFeed::stretch(PlayChunk& chunk, std::size_t count,
                                      const PlayerSettings& settings) {
  const std::array<float*, 2> pointers{chunk.voices[PlayChunk::left].data() + chunk.sample_count,
                                       chunk.voices[PlayChunk::right].data() + chunk.sample_count};
  const dsp::MutableAudioView out{std::span(pointers).first(input_.channel_count()), count};
  const dsp::StretchSettings now{settings.speed_ratio, std::exp2(settings.shift_semitones / 12.0)};
  while (true) {
    if (is_input_over_) {
      const std::size_t drained = stretcher_->drain(out);
      is_drained_ = drained == 0;
      return drained;
    }
    const auto progress =
        stretcher_->process(now, input_.read(input_begin_, input_end_ - input_begin_), out);
    input_begin_ += progress.consumed_samples;
    if (progress.produced_samples > 0) return progress.produced_samples;
    const auto block = reader_->next();
    if (!block) return tl::unexpected(block.error());
    is_input_over_ = block->sample_count == 0;
    input_begin_ = 0;
    input_end_ = block->sample_count;
    for (std::size_t c = 0; c < block->channel_count(); ++c) {
      std::copy_n(block->channels[c], input_end_, input_.part(0, input_end_).channels[c]);
    }
  }
}

Result<void> PlayFeed::make_recorded(PlayChunk& chunk, const PlayerSettings& settings) {
  const auto longest = static_cast<double>(length_samples());
  chunk.begin_place = std::min(place(), longest);
  double end_stream = stretcher_->position_samples();
  while (chunk.sample_count < PlayChunk::capacity && !is_drained_) {
    const std::size_t count = wanted_samples(PlayChunk::capacity - chunk.sample_count);
    const auto made = stretch(chunk, count, settings);
    if (!made) return tl::unexpected(made.error());
    chunk.sample_count += *made;
    const double before = end_stream;
    end_stream = stretcher_->position_samples();
    // Where it passes a jump, the chunk ends: places within one are a straight line.
    if (const auto jump = reader_->next_jump(before);
        jump && end_stream >= static_cast<double>(*jump)) {
      break;
    }
  }
  const double end_place = place();
  const double line_end =
      end_place >= chunk.begin_place
          ? end_place
          : chunk.begin_place + static_cast<double>(chunk.sample_count) * settings.speed_ratio;
  chunk.end_place = std::min(line_end, longest);
  chunk.is_end = is_drained_;
  if (input_.channel_count() == 1) chunk.voices[PlayChunk::right] = chunk.voices[PlayChunk::left];
  voices_.render(chunk, 0, chunk.sample_count, chunk.begin_place, line_end,
                 voices_settings(settings));
  if (end_place < chunk.begin_place) voices_.jump(end_place, false);
  return {};
}

}  // namespace lowstride::audio
