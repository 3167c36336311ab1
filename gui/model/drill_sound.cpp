#include "gui/model/drill_sound.hpp"

#include <chrono>
#include <deque>
#include <future>
#include <optional>
#include <utility>

#include "src/audio/audio_out.hpp"
#include "src/audio/player.hpp"
#include "src/drill/order_player.hpp"

namespace lowstride::desk {
namespace {

class LoudDrillSound final : public DrillSound {
 public:
  LoudDrillSound(std::filesystem::path recording, std::string device)
      : recording_(std::move(recording)), device_(std::move(device)) {}

  void play(std::vector<drill::SoundOrder> orders) override {
    stop();
    waiting_.assign(std::make_move_iterator(orders.begin()), std::make_move_iterator(orders.end()));
    take_next();
  }

  void stop() override {
    waiting_.clear();
    current_.reset();
    hush();
    // What is being opened is no longer wanted; it is dropped when it is there.
    if (opening_.valid()) stale_.push_back(std::move(opening_));
  }

  Heard now() override {
    std::erase_if(stale_, [](const auto& one) {
      return one.wait_for(std::chrono::seconds(0)) == std::future_status::ready;
    });
    open_current();
    take_in();
    if (!voice_.player || !current_) return {current_ ? &*current_ : nullptr, 0.0};
    const audio::PlayerStatus status = voice_.player->status();
    const double seconds =
        drill::heard_seconds(*current_, status.place_samples, voice_.player->sample_rate_hz());
    const bool is_over = !status.is_playing || status.place_samples >= drill::end_sample(*current_);
    if (!is_over) return {&*current_, seconds};
    hush();
    current_.reset();
    take_next();
    return {current_ ? &*current_ : nullptr, 0.0};
  }

  std::string notice() const override { return notice_; }

 private:
  struct Voice {
    std::unique_ptr<audio::Player> player;
    std::unique_ptr<audio::AudioOut> out;  // after the player: it goes first
  };

  /// The output goes before what it plays.
  void hush() {
    voice_.out.reset();
    voice_.player.reset();
  }

  void take_next() {
    if (waiting_.empty()) return;
    current_ = std::move(waiting_.front());
    waiting_.pop_front();
  }

  void open_current() {
    // Many systems lend a device once only: what was opened in vain gives it back first.
    if (!current_ || voice_.player || opening_.valid() || !stale_.empty()) return;
    opening_ = std::async(
        std::launch::async,
        [order = *current_, recording = recording_, device = device_]() -> Result<Voice> {
          auto player = drill::open_player(order, recording);
          if (!player) return tl::unexpected(player.error());
          Voice voice{std::move(*player), nullptr};
          auto out = audio::open_device(*voice.player, {.device = device});
          if (!out) return tl::unexpected(out.error());
          voice.out = std::move(*out);
          return voice;
        });
  }

  void take_in() {
    if (!opening_.valid() ||
        opening_.wait_for(std::chrono::seconds(0)) != std::future_status::ready) {
      return;
    }
    auto voice = opening_.get();
    if (!voice) {
      notice_ = voice.error().message;
      current_.reset();
      waiting_.clear();
      return;
    }
    notice_.clear();
    voice_ = std::move(*voice);
    voice_.player->play_from(drill::first_sample(*current_));
  }

  std::filesystem::path recording_;
  std::string device_;
  std::deque<drill::SoundOrder> waiting_;
  std::optional<drill::SoundOrder> current_;
  Voice voice_;
  std::future<Result<Voice>> opening_;
  std::vector<std::future<Result<Voice>>> stale_;
  std::string notice_;
};

}  // namespace

std::unique_ptr<DrillSound> make_drill_sound(const std::filesystem::path& recording,
                                             const std::string& device) {
  return std::make_unique<LoudDrillSound>(recording, device);
}

}  // namespace lowstride::desk
