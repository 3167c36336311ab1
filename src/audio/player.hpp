#pragma once

#include <cstdint>
#include <memory>
#include <optional>

#include "src/audio/audio_out.hpp"
#include "src/audio/low_voice_reader.hpp"
#include "src/audio/practice.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/score.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Half-open stretch of a recording, in its samples.
struct SampleRange {
  std::int64_t begin_sample = 0;
  std::int64_t end_sample = 0;

  bool operator==(const SampleRange&) const = default;
};

/// One of the voices that are mixed.
struct MixVoice {
  bool is_on = false;
  double gain_db = 0.0;  // -60 .. 12

  bool operator==(const MixVoice&) const = default;
};

/// Everything that can be changed while playing. A plain value: keep one, change a field, and give
/// it to `Player::set`. What is out of range is brought to the nearest end, what is not finite to
/// the default.
struct PlayerSettings {
  double speed_ratio = 1.0;      // 0.2 .. 1.5; heard within 0.4 s of the change
  double shift_semitones = 0.0;  // -12 .. 12, cents as fractions; also of line and chords
  /// Plays round and round: when the sound comes to its end it goes on at its begin, without a gap.
  /// Set while the sound is behind its end, it goes to its begin at once; one who seeks behind its
  /// end hears the rest of the recording. Under 50 ms it counts as none.
  std::optional<SampleRange> loop{};
  int count_in_bars = 0;  // 0 .. 8: before the sound whenever `play` begins; needs two beats
  ClickPattern click = ClickPattern::none;

  LowVoiceSettings low_voice{};  // of the recording: forward, alone, out, an octave up

  MixVoice recording{.is_on = true};
  MixVoice line{};  // the resynthesised notes
  MixVoice chords{.is_on = false, .gain_db = -9.0};
  double click_gain_db = -9.0;  // of clicks and count-in
  double gain_db = 0.0;         // of all, -60 .. 12

  bool operator==(const PlayerSettings&) const = default;
};

/// What a player is doing. Places are samples of the recording.
struct PlayerStatus {
  bool is_playing = false;
  bool is_counting_in = false;  // `place_samples` is then before the place that is led to
  /// What is heard at this moment: the delays of the stretcher, the read-ahead, the limiter and the
  /// output are taken off, and it moves on between blocks by the clock. At most 5 ms off at every
  /// speed, as far as the output's own delay is known.
  double place_samples = 0.0;
  std::int64_t underrun_count = 0;  // gaps because the work was not done in time
  double peak = 0.0;                // loudest sample since the last call, 1 is full scale
  bool was_limited = false;         // the limiter has had to turn something down
  /// What went wrong while reading, once; the player has stopped.
  std::optional<Error> error{};
};

enum class ReadAhead : std::uint8_t {
  own_thread,  // a thread of the player works ahead: for devices and the silent clock
  on_demand,   // `prepare` works, in the caller's thread: for PullOut; every run gives the same
};

struct PlayerOptions {
  ReadAhead read_ahead = ReadAhead::own_thread;
  double read_ahead_seconds = 0.15;  // finished sound at hand, 0.05 to 1
  /// The first sound through an output, and the first after a minute of silence, rises to its level
  /// over this time (FadeIn), so that nobody is hurt by a volume that is too high. 0 to 10; 0:
  /// none.
  double fade_in_seconds = 1.0;
};

/// Plays a recording slowly at its own pitch, with clicks, count-in and the resynthesised line,
/// from any place and round a loop: the listening engine of the desk and of `lowstride play`.
///
///   auto player = Player::open(std::move(*open_recording(path)), score_of_take(take));
///   PlayerSettings settings{.speed_ratio = 0.5, .loop = SampleRange{b9, b13}};
///   (*player)->set(settings);
///   auto out = open_device(**player);          // or open_silent_clock(**player)
///   (*player)->play_from(b9);
///   … each frame of the screen: (*player)->status().place_samples
///
/// Without a recording (nullptr) the same score is played by the resynthesised voices alone, at the
/// score's own time base; places, speed, loop and count-in work alike.
///
/// Threads: `render` and nothing else belongs to the audio thread. Everything else is for one
/// thread, the one that owns the player; calls return at once and do no work of the player. With
/// `ReadAhead::own_thread` a third thread reads the file, stretches, and synthesises into blocks of
/// 256 samples, which a one-to-one queue hands to the audio thread; that one only mixes them with
/// the gains of the moment (heard at once) and limits the sum to full scale. Seeks, new loops and
/// stops fade over 6 ms at most, a loop's end into its begin over 5.
class Player final : public AudioSource {
 public:
  /// `recording` may be null; then `score.length_samples` and `time_base_hz` say how long and how
  /// fast. Of more than two channels the first two and, softer, the others on both sides are heard.
  /// Errors: invalid_argument (neither a recording nor a score with a length).
  [[nodiscard]] static Result<std::unique_ptr<Player>> open(std::unique_ptr<SampleReader> recording,
                                                            Score score,
                                                            double time_base_hz = 48000.0,
                                                            const PlayerOptions& options = {});
  ~Player() override;

  /// The recording's rate, or the time base.
  [[nodiscard]] double sample_rate_hz() const noexcept override;
  /// Of a recording that is still being decoded, what its file promises; corrected at its end.
  [[nodiscard]] std::int64_t length_samples() const noexcept;

  void set(const PlayerSettings& settings);
  /// As they are in force, brought into range.
  [[nodiscard]] const PlayerSettings& settings() const noexcept;
  /// Whether `low_voice` goes by the score's notes; else by the low band of the recording.
  [[nodiscard]] bool has_low_voice_notes() const noexcept;
  /// Another line, chords or grid, after an edit; heard within the read-ahead.
  void set_score(Score score);

  /// Goes on from where it is, after the count-in if there is one; at the end, from the start (of
  /// the loop). Does nothing while playing.
  void play();
  /// Plays from a place (brought into the recording), after the count-in if there is one.
  void play_from(std::int64_t sample);
  /// Stops and keeps the place.
  void stop();
  /// Goes to a place, and goes on playing if it was.
  void seek(std::int64_t sample);

  [[nodiscard]] PlayerStatus status();

  void render(dsp::MutableAudioView out) noexcept override;
  void prepare(std::size_t sample_count) override;
  void set_output_latency(double seconds) noexcept override;

 private:
  class Inside;
  explicit Player(std::unique_ptr<Inside> inside) noexcept;
  std::unique_ptr<Inside> inside_;
};

}  // namespace lowstride::audio
