#pragma once

#include <array>
#include <atomic>
#include <chrono>
#include <cstdint>

#include "src/audio/fade_in.hpp"
#include "src/audio/latest_value.hpp"
#include "src/audio/limiter.hpp"
#include "src/audio/one_to_one_queue.hpp"
#include "src/audio/play_chunk.hpp"

namespace lowstride::audio {

/// Gains of the moment, as factors; 0 is off.
struct MixGains {
  std::array<float, PlayChunk::voice_count> voices{};
  float all = 1.0F;
};

/// Which place is heard at which sample of the output.
struct HeardPlaces {
  struct Anchor {
    std::int64_t output_sample = 0;
    double place = 0.0;
    double places_per_sample = 0.0;
    std::uint64_t seek = 0;
    bool is_counting_in = false;
  };
  static constexpr std::size_t anchor_count = 128;  // 0.7 s of chunks at 44.1 kHz
  std::array<Anchor, anchor_count> anchors{};
  std::size_t newest = 0;
  std::int64_t block_begin = 0;  // output samples before the newest block
  std::int64_t block_end = 0;
  std::chrono::steady_clock::time_point rendered{};  // when the newest block was

  /// The anchor that an output sample belongs to.
  [[nodiscard]] const Anchor& at(double output_sample) const noexcept;
};

/// The audio thread's half of a player: takes chunks, mixes them, fades between runs and limits.
/// `render` belongs to the audio thread, everything else to the makers of chunks as said.
// NOLINTNEXTLINE(clang-analyzer-optin.performance.Padding): in order of the threads that own it
class PlayMixer {
 public:
  /// `fade_in_seconds`: how long the protective fade of the first sound lasts; 0 is none.
  PlayMixer(double sample_rate_hz, std::size_t chunk_count, double fade_in_seconds);

  // Audio thread.
  void render(dsp::MutableAudioView out) noexcept;

  // Making thread.
  /// A chunk to fill, or null while all are on their way.
  [[nodiscard]] PlayChunk* take_free() noexcept;
  void put(PlayChunk* chunk) noexcept;
  /// From now on `run` is to be heard, as soon as it comes (or, while the sound goes on, not before
  /// `from_serial`). Its first chunk must have been put before.
  void change_to(std::uint64_t run, std::uint64_t from_serial) noexcept;
  /// Serial of the chunk that is being played; those up to it are gone.
  [[nodiscard]] std::uint64_t played_serial() const noexcept {
    return played_serial_.load(std::memory_order_acquire);
  }

  // Owning thread.
  void set_gains(const MixGains& gains) noexcept { gains_.set(gains); }
  /// Starts once sound that obeys `seek` is there.
  void start(std::uint64_t seek) noexcept;
  void stop() noexcept { is_wanted_.store(false, std::memory_order_release); }
  /// The next sound is the first that somebody hears: another output.
  void fade_in_next() noexcept {
    if (!fade_in_.is_none()) is_first_sound_.store(true, std::memory_order_release);
  }
  [[nodiscard]] bool is_playing() const noexcept {
    return is_wanted_.load(std::memory_order_acquire);
  }
  [[nodiscard]] const HeardPlaces& heard() noexcept { return heard_.newest(); }
  [[nodiscard]] std::size_t latency_samples() const noexcept { return limiter_.latency_samples(); }
  [[nodiscard]] std::int64_t underrun_count() const noexcept {
    return underruns_.load(std::memory_order_relaxed);
  }
  [[nodiscard]] float take_peak() noexcept { return peak_.exchange(0.0F); }
  [[nodiscard]] bool has_limited() const noexcept {
    return has_limited_.load(std::memory_order_relaxed);
  }
  /// True once the end of the recording has been played, until `start`.
  [[nodiscard]] bool is_at_end() const noexcept {
    return is_at_end_.load(std::memory_order_acquire);
  }

 private:
  static constexpr std::size_t fade_samples = PlayChunk::capacity;

  [[nodiscard]] bool advance() noexcept;
  [[nodiscard]] bool change_run(std::uint64_t run) noexcept;
  void pop(PlayChunk*& chunk) noexcept;
  void give_back(PlayChunk* chunk) noexcept;
  void anchor() noexcept;
  [[nodiscard]] bool may_sound() noexcept;
  void mix_sample(std::size_t index, float& left, float& right) noexcept;
  [[nodiscard]] float voice(PlayChunk::Voice which, std::size_t index) const noexcept;

  std::vector<PlayChunk> chunks_;
  moodycamel::ReaderWriterQueue<PlayChunk*> full_;
  moodycamel::ReaderWriterQueue<PlayChunk*> free_;
  std::atomic<std::uint64_t> wanted_run_{0};
  std::atomic<std::uint64_t> change_serial_{0};
  std::atomic<std::uint64_t> played_serial_{0};

  LatestValue<MixGains> gains_;
  std::atomic<bool> is_wanted_{false};
  std::atomic<bool> is_first_sound_{true};
  std::atomic<std::uint64_t> wanted_seek_{0};
  LatestValue<HeardPlaces> heard_;
  std::atomic<std::int64_t> underruns_{0};
  std::atomic<float> peak_{0.0F};
  std::atomic<bool> has_limited_{false};
  std::atomic<bool> is_at_end_{false};

  // The audio thread's own.
  PlayChunk* current_ = nullptr;
  std::size_t used_ = 0;  // of the current chunk
  std::uint64_t run_ = 0;
  PlayChunk fading_;            // the end of the run before
  std::size_t fade_count_ = 0;  // samples in it
  std::size_t fade_used_ = 0;
  double gate_ = 0.0;  // 0 stopped .. 1 playing
  double open_step_;   // of the gate, a sample
  double close_step_;
  bool is_fresh_ = false;         // the run has sounded from its first sample on
  std::uint64_t run_begins_ = 0;  // serial of its first chunk
  MixGains now_;                  // gains on the way to those that are wanted
  MixGains wanted_;
  float gain_share_;  // of the way in one sample
  FadeIn fade_in_;
  std::int64_t silent_samples_ = 0;    // since the last sound
  std::int64_t long_silence_samples_;  // after so many the level may have been turned up
  HeardPlaces places_;
  std::int64_t output_samples_ = 0;
  Limiter limiter_;
};

}  // namespace lowstride::audio
