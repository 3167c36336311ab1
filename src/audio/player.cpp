#include "src/audio/player.hpp"

#include <semaphore.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <deque>
#include <mutex>
#include <thread>
#include <utility>

#include "src/audio/play_feed.hpp"
#include "src/audio/play_mixer.hpp"

namespace lowstride::audio {
namespace {

constexpr double shortest_loop_seconds = 0.05;
constexpr double change_over_seconds = 0.06;  // ahead of the sound, where a new run takes over
constexpr double lowest_gain_db = -60.0;
constexpr double highest_gain_db = 12.0;

double within(double value, double lowest, double highest, double otherwise) {
  return std::isfinite(value) ? std::clamp(value, lowest, highest) : otherwise;
}

float factor(double gain_db) { return static_cast<float>(std::pow(10.0, gain_db / 20.0)); }
float factor(const MixVoice& voice) { return voice.is_on ? factor(voice.gain_db) : 0.0F; }

PlayerSettings in_range(PlayerSettings settings, std::int64_t length_samples,
                        double sample_rate_hz) {
  const PlayerSettings normal;
  settings.speed_ratio =
      within(settings.speed_ratio, lowest_speed_ratio, highest_speed_ratio, normal.speed_ratio);
  settings.shift_semitones =
      within(settings.shift_semitones, -largest_shift_semitones, largest_shift_semitones, 0.0);
  settings.count_in_bars = std::clamp(settings.count_in_bars, 0, 8);
  for (double* gain : {&settings.recording.gain_db, &settings.line.gain_db,
                       &settings.chords.gain_db, &settings.click_gain_db, &settings.gain_db}) {
    *gain = within(*gain, lowest_gain_db, highest_gain_db, 0.0);
  }
  if (settings.loop) {
    SampleRange& loop = *settings.loop;
    loop.begin_sample = std::clamp<std::int64_t>(loop.begin_sample, 0, length_samples);
    loop.end_sample = std::clamp<std::int64_t>(loop.end_sample, 0, length_samples);
    if (static_cast<double>(loop.end_sample - loop.begin_sample) <
        shortest_loop_seconds * sample_rate_hz) {
      settings.loop.reset();
    }
  }
  return settings;
}

/// Wakes the working thread; posting is safe in the audio thread (POSIX: async-signal-safe).
class WakeUp {
 public:
  WakeUp() { ::sem_init(&semaphore_, 0, 0); }
  WakeUp(const WakeUp&) = delete;
  WakeUp& operator=(const WakeUp&) = delete;
  ~WakeUp() { ::sem_destroy(&semaphore_); }
  void post() noexcept { ::sem_post(&semaphore_); }
  void wait() noexcept {
    ::sem_wait(&semaphore_);
    while (::sem_trywait(&semaphore_) == 0) {
    }
  }

 private:
  ::sem_t semaphore_{};
};

}  // namespace

class Player::Inside {
 public:
  Inside(std::unique_ptr<SampleReader> recording, Score score, double rate_hz, std::int64_t length,
         const PlayerOptions& options)
      : sample_rate_hz(rate_hz),
        length_samples(length),
        has_low_voice_notes(!score.notes.empty()),
        ahead_chunks_(static_cast<std::size_t>(
            std::ceil(within(options.read_ahead_seconds, 0.05, 1.0, 0.15) * rate_hz /
                      static_cast<double>(PlayChunk::capacity)))),
        // Room for a run that is played, one that follows, and one that was given up.
        mixer_(rate_hz, 3 * ahead_chunks_ + 8, within(options.fade_in_seconds, 0.0, 10.0, 1.0)),
        feed_(std::move(recording), std::make_shared<const Score>(std::move(score)), rate_hz,
              length) {
    set_gains();
    wanted_.settings = settings;
    wanted_.restart = Restart{.place = 0.0};
    if (options.read_ahead == ReadAhead::own_thread) {
      thread_ = std::jthread([this](const std::stop_token& stop) {
        while (!stop.stop_requested()) {
          if (!step(ahead_chunks_ * PlayChunk::capacity)) wake_.wait();
        }
      });
    }
  }

  ~Inside() {
    if (!thread_.joinable()) return;
    thread_.request_stop();
    wake_.post();
  }

  // ---- owning thread ----

  void set(const PlayerSettings& next) {
    const PlayerSettings before = settings;
    settings = in_range(next, length_samples, sample_rate_hz);
    set_gains();
    // The loop and the low voice lie before the stretcher, which has read ahead.
    const bool is_new_source =
        settings.loop != before.loop || settings.low_voice != before.low_voice;
    const bool is_new_pace = settings.speed_ratio != before.speed_ratio ||
                             settings.shift_semitones != before.shift_semitones ||
                             settings.click != before.click;
    const bool is_playing = mixer_.is_playing();
    change([&](Wanted& wanted) {
      wanted.settings = settings;
      if (is_new_source && is_playing) wanted.changes_over = true;
    });
    // What is at hand already is at the old pace: heard out while it plays, made anew if not.
    if (!is_playing && (is_new_source || is_new_pace)) restart(status_place().place, 0);
  }

  void set_score(Score score) {
    has_low_voice_notes = !score.notes.empty();
    auto shared = std::make_shared<const Score>(std::move(score));
    change([&](Wanted& wanted) { wanted.score = std::move(shared); });
    if (!mixer_.is_playing()) restart(status_place().place, 0);
  }

  void restart(double place, int count_in_bars) {
    ++seek_;
    seek_place_ = std::clamp(place, 0.0, static_cast<double>(length_samples.load()));
    change([&](Wanted& wanted) {
      wanted.restart = Restart{seek_place_, count_in_bars, seek_};
      wanted.changes_over = false;
    });
  }

  void play() {
    if (mixer_.is_playing()) return;
    const double place = status_place().place;
    const bool is_over = mixer_.is_at_end() || place >= static_cast<double>(length_samples.load());
    if (is_over) {
      restart(settings.loop ? static_cast<double>(settings.loop->begin_sample) : 0.0,
              settings.count_in_bars);
    } else if (settings.count_in_bars > 0) {
      restart(place, settings.count_in_bars);
    }
    mixer_.start(seek_);
  }

  void play_from(std::int64_t sample) {
    restart(static_cast<double>(sample), settings.count_in_bars);
    mixer_.start(seek_);
  }

  void seek(std::int64_t sample) { restart(static_cast<double>(sample), 0); }

  void stop() { mixer_.stop(); }

  PlayerStatus status() {
    PlayerStatus now;
    const HeardPlaces::Anchor heard = status_place();
    now.is_playing = mixer_.is_playing();
    now.is_counting_in = now.is_playing && heard.is_counting_in;
    now.place_samples = heard.place;
    now.underrun_count = mixer_.underrun_count();
    now.peak = static_cast<double>(mixer_.take_peak());
    now.was_limited = mixer_.has_limited();
    const std::lock_guard lock(mutex_);
    now.error = std::exchange(error_, std::nullopt);
    if (now.error) mixer_.stop();
    return now;
  }

  // ---- audio thread ----

  void render(dsp::MutableAudioView out) noexcept {
    mixer_.render(out);
    if (thread_.joinable()) wake_.post();
  }

  void set_latency(double seconds) noexcept {
    latency_seconds_.store(seconds);
    mixer_.fade_in_next();
  }

  /// Offline: all that the next `sample_count` samples need.
  void prepare(std::size_t sample_count) {
    // A little more, so that a run that ends early has something to fade out with.
    while (step(sample_count + 2 * PlayChunk::capacity)) {
    }
  }

  const double sample_rate_hz;
  std::atomic<std::int64_t> length_samples;  // the working thread may correct it
  PlayerSettings settings;
  bool has_low_voice_notes;

 private:
  struct Restart {
    double place = 0.0;
    int count_in_bars = 0;
    std::uint64_t seek = 0;
  };
  /// What the owning thread wants of the working thread.
  struct Wanted {
    PlayerSettings settings;
    std::shared_ptr<const Score> score;
    std::optional<Restart> restart;
    bool changes_over = false;  // a new run from where the sound will be
    bool is_new = true;
  };
  struct Made {
    std::uint64_t serial = 0;
    double place = 0.0;
    std::size_t sample_count = 0;
    bool is_counting_in = false;
  };

  template <typename Change>
  void change(Change&& make_change) {
    {
      const std::lock_guard lock(mutex_);
      make_change(wanted_);
      wanted_.is_new = true;
    }
    wake_.post();
  }

  void set_gains() {
    MixGains gains;
    gains.voices[PlayChunk::left] = gains.voices[PlayChunk::right] = factor(settings.recording);
    gains.voices[PlayChunk::line] = factor(settings.line);
    gains.voices[PlayChunk::chords] = factor(settings.chords);
    gains.voices[PlayChunk::click] = factor(settings.click_gain_db);
    gains.all = factor(settings.gain_db);
    mixer_.set_gains(gains);
  }

  /// The anchor that is heard now, its place moved on to this moment.
  HeardPlaces::Anchor status_place() {
    const HeardPlaces& heard = mixer_.heard();
    const double delay =
        static_cast<double>(mixer_.latency_samples()) + latency_seconds_.load() * sample_rate_hz;
    double sample = static_cast<double>(heard.block_end);
    if (thread_.joinable()) {
      const std::chrono::duration<double> passed =
          std::chrono::steady_clock::now() - heard.rendered;
      sample = std::min(sample,
                        static_cast<double>(heard.block_begin) + passed.count() * sample_rate_hz);
    }
    sample -= delay;
    HeardPlaces::Anchor now = heard.at(sample);
    if (now.seek < seek_) {  // the seek is under way: the cursor is there already
      now.place = seek_place_;
      now.is_counting_in = false;
      return now;
    }
    now.place +=
        now.places_per_sample * std::max(0.0, sample - static_cast<double>(now.output_sample));
    now.place = std::min(now.place, static_cast<double>(length_samples.load()));
    return now;
  }

  // ---- working thread ----

  /// One piece of work: takes up what is wanted, or makes a chunk. False when there is nothing to
  /// do until something changes.
  bool step(std::size_t ahead_samples) {
    take_up_wants();
    if (has_failed_ || is_at_end_) return false;
    while (!made_.empty() && made_.front().serial <= mixer_.played_serial()) {
      made_samples_ -= made_.front().sample_count;
      made_.pop_front();
    }
    return made_samples_ < ahead_samples && make_chunk();
  }

  void take_up_wants() {
    Wanted now;
    {
      const std::lock_guard lock(mutex_);
      if (!wanted_.is_new) return;
      wanted_.is_new = false;
      now.settings = wanted_.settings;
      now.score = std::move(wanted_.score);
      now.restart = std::exchange(wanted_.restart, std::nullopt);
      now.changes_over = std::exchange(wanted_.changes_over, false);
    }
    at_work_ = now.settings;
    if (now.score) feed_.set_score(now.score);
    if (now.restart) {
      run_seek_ = now.restart->seek;
      begin_run(now.restart->place, now.restart->count_in_bars, 0);
    } else if (now.changes_over) {
      change_over();
    }
  }

  /// A new run that takes over a little ahead of what is heard, at the same place.
  void change_over() {
    const auto ahead = static_cast<std::uint64_t>(
        std::ceil(change_over_seconds * sample_rate_hz / static_cast<double>(PlayChunk::capacity)));
    const std::uint64_t earliest = mixer_.played_serial() + ahead;
    Made from{next_serial_, feed_.place(), 0, feed_.is_counting_in()};
    for (const Made& made : made_) {
      if (made.serial < earliest) continue;
      from = made;
      break;
    }
    double place = from.place;
    if (at_work_.loop && place >= static_cast<double>(at_work_.loop->end_sample)) {
      place = static_cast<double>(at_work_.loop->begin_sample);
    }
    // A count-in that is under way begins again.
    if (from.is_counting_in) {
      begin_run(feed_.counted_in_place(), at_work_.count_in_bars, from.serial);
    } else {
      begin_run(place, 0, from.serial);
    }
  }

  void begin_run(double place, int count_in_bars, std::uint64_t from_serial) {
    has_failed_ = is_at_end_ = false;
    made_.clear();
    made_samples_ = 0;
    if (auto begun = feed_.restart(place, at_work_, count_in_bars); !begun) {
      report(begun.error());
      return;
    }
    ++run_;
    is_announced_ = false;
    change_serial_ = from_serial;
  }

  bool make_chunk() {
    PlayChunk* const chunk = mixer_.take_free();
    if (chunk == nullptr) return false;
    const auto made = feed_.make(*chunk, at_work_);
    length_samples.store(feed_.length_samples());
    if (!made) {
      chunk->sample_count = 0;
      chunk->is_end = true;
      chunk->begin_place = chunk->end_place = feed_.place();
      report(made.error());
    }
    chunk->serial = next_serial_++;
    chunk->run = run_;
    chunk->seek = run_seek_;
    is_at_end_ = chunk->is_end;
    made_.push_back(
        {chunk->serial, chunk->begin_place, chunk->sample_count, chunk->is_counting_in});
    made_samples_ += chunk->sample_count;
    mixer_.put(chunk);
    if (!is_announced_) {
      is_announced_ = true;
      mixer_.change_to(run_, change_serial_);
    }
    return true;
  }

  void report(const Error& error) {
    has_failed_ = true;
    const std::lock_guard lock(mutex_);
    error_ = error;
  }

  std::size_t ahead_chunks_;
  PlayMixer mixer_;
  PlayFeed feed_;
  std::atomic<double> latency_seconds_{0.0};

  // Owning thread.
  std::uint64_t seek_ = 0;
  double seek_place_ = 0.0;

  std::mutex mutex_;
  Wanted wanted_;               // guarded
  std::optional<Error> error_;  // guarded

  // Working thread.
  PlayerSettings at_work_;
  std::deque<Made> made_;  // chunks of this run that have not been played
  std::size_t made_samples_ = 0;
  std::uint64_t run_ = 0;
  std::uint64_t run_seek_ = 0;
  std::uint64_t next_serial_ = 1;
  std::uint64_t change_serial_ = 0;
  bool is_announced_ = false;
  bool is_at_end_ = false;
  bool has_failed_ = false;

  WakeUp wake_;
  std::jthread thread_;  // last: it ends before what it uses
};

Player::Player(std::unique_ptr<Inside> inside) noexcept : inside_(std::move(inside)) {}
Player::~Player() = default;

Result<std::unique_ptr<Player>> Player::open(std::unique_ptr<SampleReader> recording, Score score,
                                             double time_base_hz, const PlayerOptions& options) {
  double rate_hz = time_base_hz;
  std::int64_t length = score.length_samples;
  if (recording) {
    rate_hz = static_cast<double>(recording->info().sample_rate_hz);
    length = recording->info().sample_count;
  }
  if (length <= 0 || !(rate_hz >= lowest_sample_rate_hz && rate_hz <= highest_sample_rate_hz)) {
    return fail(ErrorCode::invalid_argument,
                "There is nothing to play: no recording, and a take without a length.");
  }
  return std::unique_ptr<Player>(new Player(
      std::make_unique<Inside>(std::move(recording), std::move(score), rate_hz, length, options)));
}

double Player::sample_rate_hz() const noexcept { return inside_->sample_rate_hz; }
std::int64_t Player::length_samples() const noexcept { return inside_->length_samples; }
void Player::set(const PlayerSettings& settings) { inside_->set(settings); }
const PlayerSettings& Player::settings() const noexcept { return inside_->settings; }
bool Player::has_low_voice_notes() const noexcept { return inside_->has_low_voice_notes; }
void Player::set_score(Score score) { inside_->set_score(std::move(score)); }
void Player::play() { inside_->play(); }
void Player::play_from(std::int64_t sample) { inside_->play_from(sample); }
void Player::stop() { inside_->stop(); }
void Player::seek(std::int64_t sample) { inside_->seek(sample); }
PlayerStatus Player::status() { return inside_->status(); }
void Player::render(dsp::MutableAudioView out) noexcept { inside_->render(out); }
void Player::prepare(std::size_t sample_count) { inside_->prepare(sample_count); }
void Player::set_output_latency(double seconds) noexcept { inside_->set_latency(seconds); }

}  // namespace lowstride::audio
