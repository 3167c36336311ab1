#include "src/audio/play_mixer.hpp"

#include <algorithm>
#include <cmath>

namespace lowstride::audio {
namespace {

// Fades of the recording at a start and a stop. A start is short: players start on attacks.
constexpr double open_seconds = 2e-3;
constexpr double close_seconds = 5e-3;
constexpr double gain_seconds = 5e-3;  // time constant of a change of gain
// Long enough to take headphones off, or to turn something else up, and forget it.
constexpr double long_silence_seconds = 60.0;

}  // namespace

const HeardPlaces::Anchor& HeardPlaces::at(double output_sample) const noexcept {
  for (std::size_t back = 0; back + 1 < anchor_count; ++back) {
    const Anchor& one = anchors[(newest + anchor_count - back) % anchor_count];
    if (static_cast<double>(one.output_sample) <= output_sample) return one;
  }
  return anchors[(newest + 1) % anchor_count];
}

PlayMixer::PlayMixer(double sample_rate_hz, std::size_t chunk_count, double fade_in_seconds)
    : chunks_(chunk_count),
      full_(chunk_count),
      free_(chunk_count),
      open_step_(1.0 / (open_seconds * sample_rate_hz)),
      close_step_(1.0 / (close_seconds * sample_rate_hz)),
      gain_share_(static_cast<float>(1.0 - std::exp(-1.0 / (gain_seconds * sample_rate_hz)))),
      fade_in_(fade_in_seconds, sample_rate_hz),
      long_silence_samples_(static_cast<std::int64_t>(long_silence_seconds * sample_rate_hz)),
      limiter_({.sample_rate_hz = sample_rate_hz, .channel_count = 2}) {
  static_assert(std::atomic<float>::is_always_lock_free);
  static_assert(std::atomic<std::uint64_t>::is_always_lock_free);
  for (PlayChunk& chunk : chunks_) free_.try_enqueue(&chunk);
}

PlayChunk* PlayMixer::take_free() noexcept {
  PlayChunk* chunk = nullptr;
  return free_.try_dequeue(chunk) ? chunk : nullptr;
}

void PlayMixer::put(PlayChunk* chunk) noexcept { full_.try_enqueue(chunk); }

void PlayMixer::change_to(std::uint64_t run, std::uint64_t from_serial) noexcept {
  change_serial_.store(from_serial, std::memory_order_relaxed);
  wanted_run_.store(run, std::memory_order_release);
}

void PlayMixer::start(std::uint64_t seek) noexcept {
  is_at_end_.store(false, std::memory_order_relaxed);
  wanted_seek_.store(seek, std::memory_order_relaxed);
  is_wanted_.store(true, std::memory_order_release);
}

void PlayMixer::give_back(PlayChunk* chunk) noexcept {
  if (chunk != nullptr) free_.try_enqueue(chunk);
}

void PlayMixer::pop(PlayChunk*& chunk) noexcept {
  full_.try_dequeue(chunk);
  played_serial_.store(chunk->serial, std::memory_order_release);
}

/// Notes where the current chunk (from `used_` on) begins in the output.
void PlayMixer::anchor() noexcept {
  HeardPlaces::Anchor next;
  next.output_sample = output_samples_;
  if (current_ != nullptr && current_->sample_count > 0) {
    const double slope =
        (current_->end_place - current_->begin_place) / static_cast<double>(current_->sample_count);
    next.place = current_->begin_place + slope * static_cast<double>(used_);
    next.places_per_sample = gate_ > 0.0 ? slope : 0.0;
  } else if (current_ != nullptr) {
    next.place = current_->end_place;
  }
  if (current_ != nullptr) {
    next.seek = current_->seek;
    next.is_counting_in = current_->is_counting_in;
  }
  places_.newest = (places_.newest + 1) % HeardPlaces::anchor_count;
  places_.anchors[places_.newest] = next;
}

/// Throws away what is left of older runs, keeping a little to fade out, and begins `run`. False
/// while the time for that has not come.
bool PlayMixer::change_run(std::uint64_t run) noexcept {
  PlayChunk** front = full_.peek();
  if (front == nullptr) return false;  // its chunks are on their way
  const bool goes_on = gate_ > 0.0 && current_ != nullptr && (*front)->run == run_ &&
                       (*front)->serial < change_serial_.load(std::memory_order_relaxed);
  if (goes_on) return false;
  fade_count_ = fade_used_ = 0;
  for (; front != nullptr && (*front)->run != run; front = full_.peek()) {
    PlayChunk* old = nullptr;
    pop(old);
    if (gate_ > 0.0 && old->run == run_) {
      const std::size_t count = std::min(old->sample_count, fade_samples - fade_count_);
      for (std::size_t v = 0; v < PlayChunk::voice_count; ++v) {
        std::copy_n(old->voices[v].begin(), count,
                    fading_.voices[v].begin() + static_cast<std::ptrdiff_t>(fade_count_));
      }
      fade_count_ += count;
    }
    give_back(old);
  }
  if (front == nullptr) return false;
  run_ = run;
  run_begins_ = (*front)->serial;
  return true;
}

/// Brings the next chunk; false when there is none.
bool PlayMixer::advance() noexcept {
  const std::uint64_t run = wanted_run_.load(std::memory_order_acquire);
  if (run != run_) (void)change_run(run);
  PlayChunk** const front = full_.peek();
  if (front == nullptr || (*front)->run != run_) return false;
  give_back(current_);
  pop(current_);
  used_ = 0;
  anchor();
  return true;
}

bool PlayMixer::may_sound() noexcept {
  return is_wanted_.load(std::memory_order_acquire) && current_ != nullptr &&
         (gate_ > 0.0 || current_->seek >= wanted_seek_.load(std::memory_order_relaxed));
}

float PlayMixer::voice(PlayChunk::Voice which, std::size_t index) const noexcept {
  const float value = current_->voices[which][index];
  if (fade_used_ >= fade_count_) return value;
  const float share = (static_cast<float>(fade_used_) + 0.5F) / static_cast<float>(fade_count_);
  return share * value + (1.0F - share) * fading_.voices[which][fade_used_];
}

void PlayMixer::mix_sample(std::size_t index, float& left, float& right) noexcept {
  for (std::size_t v = 0; v < PlayChunk::voice_count; ++v) {
    now_.voices[v] += gain_share_ * (wanted_.voices[v] - now_.voices[v]);
  }
  now_.all += gain_share_ * (wanted_.all - now_.all);
  const float middle = now_.voices[PlayChunk::line] * voice(PlayChunk::line, index) +
                       now_.voices[PlayChunk::chords] * voice(PlayChunk::chords, index) +
                       now_.voices[PlayChunk::click] * voice(PlayChunk::click, index);
  // At the first sample of a run the made voices begin from silence by themselves: their attack
  // stays whole. What is cut out of the recording, or out of a note, fades in.
  const auto gate = static_cast<float>(gate_);
  const float made = (is_fresh_ ? 1.0F : gate) * middle;
  left = now_.all * (gate * now_.voices[PlayChunk::left] * voice(PlayChunk::left, index) + made);
  right = now_.all * (gate * now_.voices[PlayChunk::right] * voice(PlayChunk::right, index) + made);
  const float rise = fade_in_.next(std::max(std::abs(left), std::abs(right)));
  left *= rise;
  right *= rise;
  if (fade_used_ < fade_count_) ++fade_used_;
}

void PlayMixer::render(dsp::MutableAudioView out) noexcept {
  wanted_ = gains_.newest();
  if (gate_ > 0.0 && is_first_sound_.load(std::memory_order_acquire)) {
    // Another output in the midst of the sound: what the last one swallowed is not heard here.
    gate_ = 0.0;
    limiter_.reset();
  }
  places_.block_begin = output_samples_;
  const float* const left_end = out.channels[0] + out.sample_count;
  float* left = out.channels[0];
  float* right = out.channels[1];
  bool is_short = false;
  for (; left != left_end; ++left, ++right, ++output_samples_) {
    *left = *right = 0.0F;
    // While it stands still a new run is taken up at once, so that a start finds it.
    const bool is_new_run = gate_ == 0.0 && wanted_run_.load(std::memory_order_acquire) != run_;
    const bool is_used_up =
        current_ == nullptr || (used_ >= current_->sample_count && !current_->is_end);
    if (is_new_run || (is_used_up && !is_short)) {
      // Empty chunks say nothing; an end is one that may be empty.
      while (advance() && current_->sample_count == 0 && !current_->is_end) {
      }
    }
    const bool has_sample = current_ != nullptr && used_ < current_->sample_count;
    if (current_ != nullptr && current_->is_end && !has_sample && gate_ > 0.0) {
      gate_ = 0.0;
      is_wanted_.store(false, std::memory_order_release);
      is_at_end_.store(true, std::memory_order_release);
      anchor();
    }
    const double before = gate_;
    const bool wants = may_sound();
    if (wants && !has_sample && !(current_ != nullptr && current_->is_end)) {
      is_short = true;  // not made in time: silence, and a fade in when it goes on
      gate_ = 0.0;
    } else if (has_sample) {
      gate_ = std::clamp(gate_ + (wants ? open_step_ : -close_step_), 0.0, 1.0);
    } else {
      gate_ = 0.0;
    }
    if (before == 0.0 && gate_ > 0.0 && current_ != nullptr) {
      is_fresh_ = used_ == 0 && current_->serial == run_begins_;
      now_ = wanted_;
      if (is_first_sound_.exchange(false, std::memory_order_acq_rel) ||
          silent_samples_ > long_silence_samples_) {
        fade_in_.begin();
      }
    } else if (!wants) {
      is_fresh_ = false;
    }
    if ((before > 0.0) != (gate_ > 0.0)) anchor();
    silent_samples_ = gate_ > 0.0 ? 0 : silent_samples_ + 1;
    if (gate_ > 0.0) mix_sample(used_++, *left, *right);
  }
  if (is_short) underruns_.fetch_add(1, std::memory_order_relaxed);
  limiter_.process(out);
  float peak = 0.0F;
  for (const float* channel : out.channels) {
    for (std::size_t i = 0; i < out.sample_count; ++i) peak = std::max(peak, std::abs(channel[i]));
  }
  if (peak > peak_.load(std::memory_order_relaxed)) peak_.store(peak, std::memory_order_relaxed);
  if (limiter_.has_limited()) has_limited_.store(true, std::memory_order_relaxed);
  places_.block_end = output_samples_;
  places_.rendered = std::chrono::steady_clock::now();
  heard_.set(places_);
}

}  // namespace lowstride::audio
