#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "src/audio/live_input.hpp"
#include "src/base/result.hpp"
#include "src/drill/answer.hpp"
#include "src/drill/item.hpp"

namespace lowstride::drill {

/// An answer as it was played, and what a player is told of how it was heard ("" for a line).
struct PlayedAnswer {
  Answer answer;
  std::string heard;
};

/// Takes answers that are played: notes that are asked, and lines that are played back. Calls wait
/// for the input, up to a tenth of a second each but `answer`, which waits for the player. One
/// thread, but for `level_db`.
class Ear {
 public:
  /// `latency_seconds`: from a sound's going out to its coming in, see `kept_latency_seconds`;
  /// taken off the times of a played line. A file has none but its own.
  /// `is_device`: it runs on while nobody plays, and is waited for.
  Ear(std::unique_ptr<audio::LiveInput> input, double latency_seconds, bool is_device);

  /// From now on what is played counts: called as the accompaniment begins.
  void begin();
  /// Takes in what came since; to be called every few milliseconds while something sounds, of which
  /// `sound_seconds` have been heard. So the start of the accompaniment is known in the input.
  void tick(double sound_seconds);

  /// The answer to an item that is asked at a speed; nothing when it is to be given otherwise:
  /// another kind of item, a file's end, or `goes_on`, which is asked while it waits, says no.
  /// Errors: those of the input.
  [[nodiscard]] std::optional<Result<PlayedAnswer>> answer(const Item& item, double speed_ratio,
                                                           const std::function<bool()>& goes_on);

  [[nodiscard]] bool is_device() const noexcept { return is_device_; }
  /// Nothing more comes: a file's end, or a device that is gone.
  [[nodiscard]] bool is_ended() const noexcept { return input_->is_ended(); }
  /// Root mean square of what came in last, of full scale. Any thread.
  [[nodiscard]] double level_db() const noexcept { return level_db_.load(); }

 private:
  [[nodiscard]] Result<bool> take_in(std::size_t most_samples);
  [[nodiscard]] std::optional<Result<PlayedAnswer>> one_note(const Item& item,
                                                             const std::function<bool()>& goes_on);
  [[nodiscard]] std::optional<Result<PlayedAnswer>> line(const Item& item, double speed_ratio,
                                                         const std::function<bool()>& goes_on);
  [[nodiscard]] double sound_begin_seconds() const;

  std::unique_ptr<audio::LiveInput> input_;
  double latency_seconds_;
  bool is_device_;
  std::vector<float> heard_;            // since `begin`
  std::vector<double> begins_seconds_;  // of the accompaniment, in that, as each tick has it
  std::optional<Error> error_;
  std::atomic<double> level_db_{-120.0};
};

/// The latency of this machine's sound, out and in again, that was measured and kept (in the
/// user's folder of settings); 0 when there is none.
[[nodiscard]] double kept_latency_seconds();
/// Keeps it, 0..1 s. Errors: cannot_write.
[[nodiscard]] Result<void> keep_latency_seconds(double seconds);

}  // namespace lowstride::drill
