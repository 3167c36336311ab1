#include "src/cli/drill_sound.hpp"

#include <poll.h>
#include <unistd.h>

#include <chrono>
#include <thread>
#include <utility>

#include <fmt/format.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/player.hpp"
#include "src/cli/console.hpp"
#include "src/drill/order_player.hpp"

namespace lowstride::cli {
namespace {

bool has_typed_line() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  return ::isatty(STDIN_FILENO) == 1 && ::poll(&input, 1, 0) > 0;
}

}  // namespace

DrillSounder::DrillSounder(std::map<std::string, DrillSource> sources, bool is_silent)
    : sources_(std::move(sources)), is_silent_(is_silent) {}

void DrillSounder::describe(const drill::SoundOrder& order) const {
  const auto source = sources_.find(order.take_key);
  const bool is_recorded = order.source == drill::SoundOrder::Source::recording;
  fmt::print("  (hear {}{})\n", order.what,
             is_recorded && source != sources_.end()
                 ? fmt::format(" of {}", printable(source->second.name))
                 : std::string());
}

void DrillSounder::play(const drill::SoundOrder& wanted, const std::function<void(double)>& tick) {
  using Clock = std::chrono::steady_clock;
  if (is_silent_) return describe(wanted);
  const auto source = sources_.find(wanted.take_key);
  const std::filesystem::path recording =
      source == sources_.end() ? std::filesystem::path() : source->second.recording;
  const drill::SoundOrder order = drill::at_hand(wanted, recording);
  auto player = drill::open_player(order, recording);
  if (!player) {
    remark(player.error().message);
    return describe(order);
  }
  const auto out = audio::open_device(**player);
  if (!out) {
    remark(out.error().message + " Until then it is said what to listen to.");
    is_silent_ = true;
    return describe(order);
  }
  const auto begun = Clock::now();
  const double end = drill::end_sample(order);
  (*player)->play_from(drill::first_sample(order));
  for (;;) {
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
    const double passed = std::chrono::duration<double>(Clock::now() - begun).count();
    const audio::PlayerStatus status = (*player)->status();
    if (status.error) remark(status.error->message);
    tick(drill::heard_seconds(order, status.place_samples, (*player)->sample_rate_hz()));
    const bool is_over = !status.is_playing || status.place_samples >= end;
    // The second condition ends an output that stands still.
    if (is_over || passed > order.length_seconds + 5.0 || interrupt_flag().load() ||
        has_typed_line())
      break;
  }
  (*player)->stop();
  std::this_thread::sleep_for(std::chrono::milliseconds(60));  // let the stop fade
}

}  // namespace lowstride::cli
