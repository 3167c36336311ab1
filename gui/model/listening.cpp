#include "gui/model/listening.hpp"

#include <utility>

#include "src/audio/audio_out.hpp"
#include "src/audio/player.hpp"
#include "src/audio/player_output.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/score_of_take.hpp"

namespace lowstride::desk {
namespace {

class Listening final : public Hearing {
 public:
  Listening(std::unique_ptr<audio::Player> player, bool has_recording, std::string device)
      : player_(std::move(player)),
        output_(*player_, [this](audio::AudioSource& source) { return open_output(source); }),
        has_recording_(has_recording),
        device_(std::move(device)) {
    (void)output_.open();
  }

  void set(const HearingSettings& settings) override {
    audio::PlayerSettings now;
    now.speed_ratio = settings.speed_ratio;
    now.shift_semitones = settings.shift_semitones;
    if (settings.loop) {
      now.loop = audio::SampleRange{settings.loop->begin_samples, settings.loop->end_samples};
    }
    now.count_in_bars = settings.count_in_bars;
    now.click = settings.click;
    now.low_voice = settings.low_voice;
    now.recording.is_on = has_recording_ && settings.line != LineHeard::instead;
    now.line.is_on = !has_recording_ || settings.line != LineHeard::off;
    now.chords.is_on = !has_recording_;
    player_->set(now);
  }
  void set_take(const take::Take& take) override { player_->set_score(audio::score_of_take(take)); }
  void play_from(std::int64_t sample) override {
    if (!notice_.empty()) output_.close();  // a device may have come
    (void)output_.open();                   // the clock where there is none
    player_->play_from(sample);
  }
  void stop() override { player_->stop(); }
  void seek(std::int64_t sample) override { player_->seek(sample); }

  HearingStatus status() override {
    const audio::PlayerStatus now = player_->status();
    HearingStatus status{now.is_playing, now.place_samples, now.peak, {}};
    if (now.error) status.trouble = now.error->message;
    if (const auto lost = output_.check()) {
      status.is_playing = false;
      status.trouble = lost->message;
    }
    return status;
  }
  std::string notice() const override { return notice_; }

 private:
  Result<std::unique_ptr<audio::AudioOut>> open_output(audio::AudioSource& source) {
    audio::DeviceOptions options;
    options.device = device_;
    auto out = audio::open_device(source, options);
    if (!out && !device_.empty()) out = audio::open_device(source);
    notice_.clear();
    if (out) return out;
    notice_ = "No sound device: nothing can be heard, everything else works.";
    return audio::open_silent_clock(source);
  }

  std::unique_ptr<audio::Player> player_;
  audio::PlayerOutput output_;  // after the player: it goes first
  bool has_recording_;
  std::string device_;
  std::string notice_;
};

}  // namespace

std::unique_ptr<Hearing> make_listening(const std::filesystem::path& recording,
                                        const take::Take& take, const std::string& device) {
  std::unique_ptr<audio::SampleReader> reader;
  if (!recording.empty()) {
    audio::OpenOptions options;
    options.with_content_hash = false;
    options.reads_while_decoding = true;
    if (auto opened = audio::open_recording(recording, options)) reader = std::move(*opened);
  }
  const bool has_recording = reader != nullptr;
  auto player = audio::Player::open(std::move(reader), audio::score_of_take(take),
                                    static_cast<double>(take.time_base_hz));
  if (!player) return nullptr;
  return std::make_unique<Listening>(std::move(*player), has_recording, device);
}

}  // namespace lowstride::desk
