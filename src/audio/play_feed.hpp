#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "dsp/stretch/stretcher.hpp"
#include "src/audio/click_pattern.hpp"
#include "src/audio/loop_reader.hpp"
#include "src/audio/play_chunk.hpp"
#include "src/audio/player.hpp"
#include "src/audio/score_voices.hpp"

namespace lowstride::audio {

/// Makes the chunks of a player, one after another: count-in, then the recording stretched, round
/// its loop, with the score's voices beside it. Not for the audio thread. One thread.
class PlayFeed {
 public:
  /// `reader` may be null: the places then move on without a recording.
  PlayFeed(std::unique_ptr<SampleReader> reader, std::shared_ptr<const Score> score,
           double sample_rate_hz, std::int64_t length_samples);

  void set_score(std::shared_ptr<const Score> score);

  /// Goes to a place, in the midst of the sound. With `count_in_bars` the beats that lead to it
  /// come first. Errors: unreadable.
  [[nodiscard]] Result<void> restart(double place, const PlayerSettings& settings,
                                     int count_in_bars);

  /// Fills a chunk's voices, places and flags. Errors: unreadable.
  [[nodiscard]] Result<void> make(PlayChunk& chunk, const PlayerSettings& settings);

  /// Of the recording, as far as it is known: a file that is still being decoded may correct it.
  [[nodiscard]] std::int64_t length_samples() const noexcept {
    return reader_ ? reader_->info().sample_count : length_samples_;
  }
  /// Where the next chunk begins.
  [[nodiscard]] double place() const noexcept;
  [[nodiscard]] bool is_counting_in() const noexcept { return is_counting_in_; }
  /// The place that the count-in of this run leads to.
  [[nodiscard]] double counted_in_place() const noexcept { return lead_ends_; }

 private:
  [[nodiscard]] Result<void> make_recorded(PlayChunk& chunk, const PlayerSettings& settings);
  void make_silent(PlayChunk& chunk, const PlayerSettings& settings);
  void make_count_in(PlayChunk& chunk, const PlayerSettings& settings);
  [[nodiscard]] Result<std::size_t> stretch(PlayChunk& chunk, std::size_t count,
                                            const PlayerSettings& settings);
  [[nodiscard]] std::size_t wanted_samples(std::size_t room) noexcept;

  double sample_rate_hz_;
  std::int64_t length_samples_;
  std::shared_ptr<const Score> score_;
  ScoreVoices voices_;

  std::unique_ptr<LoopReader> reader_;
  std::unique_ptr<dsp::Stretcher> stretcher_;
  Planes input_;  // what has been read and not stretched yet
  std::size_t input_begin_ = 0;
  std::size_t input_end_ = 0;
  bool is_input_over_ = false;
  bool is_drained_ = false;

  std::optional<SampleRange> loop_;  // of a score alone
  double free_place_ = 0.0;          // of a score alone, and while counting in
  std::vector<CountInBeat> lead_;
  std::size_t next_lead_ = 0;
  double lead_ends_ = 0.0;
  bool is_counting_in_ = false;
};

}  // namespace lowstride::audio
