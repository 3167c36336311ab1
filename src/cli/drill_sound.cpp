#include "src/cli/drill_sound.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>
#include <utility>

#include <fmt/format.h>

#include "src/audio/recording.hpp"
#include "src/audio/score.hpp"
#include "src/cli/console.hpp"

namespace lowstride::cli {
namespace {

constexpr double tone_rate_hz = 48000.0;
constexpr double quietest_db = -40.0;  // where a fade-in begins

bool has_typed_line() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  return ::isatty(STDIN_FILENO) == 1 && ::poll(&input, 1, 0) > 0;
}

std::int64_t samples_of(double seconds) { return std::llround(seconds * tone_rate_hz); }

/// Tones that begin and end together are a chord, the others the line.
audio::Score score_of(const drill::SoundOrder& order) {
  audio::Score score;
  score.a4_hz = order.a4_hz;
  score.length_samples = samples_of(order.length_seconds + 0.2);
  std::map<std::pair<std::int64_t, std::int64_t>, std::vector<int>> chords;
  const auto ends_of = [](const drill::Tone& tone) {
    return std::pair{samples_of(tone.begin_seconds),
                     samples_of(tone.begin_seconds + tone.length_seconds)};
  };
  for (const drill::Tone& tone : order.tones) chords[ends_of(tone)].push_back(tone.midi);
  for (const drill::Tone& tone : order.tones) {
    const auto ends = ends_of(tone);
    if (chords[ends].size() > 1) continue;
    score.notes.push_back({ends.first, ends.second, static_cast<double>(tone.midi), tone.is_dead});
  }
  for (auto& [ends, pitches] : chords) {
    if (pitches.size() < 2) continue;
    std::sort(pitches.begin(), pitches.end());
    score.chords.push_back({ends.first, ends.second, pitches});
  }
  std::sort(score.notes.begin(), score.notes.end(),
            [](const auto& a, const auto& b) { return a.onset_samples < b.onset_samples; });
  for (std::size_t i = 0; i < order.clicks_seconds.size(); ++i) {
    score.beats.push_back({samples_of(order.clicks_seconds[i]), 1 + static_cast<int>(i) / 4,
                           1 + static_cast<int>(i) % 4});
  }
  return score;
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

Result<std::unique_ptr<audio::Player>> DrillSounder::player_for(
    const drill::SoundOrder& order) const {
  audio::PlayerSettings settings;
  if (order.source == drill::SoundOrder::Source::tones) {
    settings.recording.is_on = false;
    settings.line.is_on = true;
    settings.chords = {.is_on = true, .gain_db = -6.0};
    settings.click =
        order.clicks_seconds.empty() ? audio::ClickPattern::none : audio::ClickPattern::all;
    auto player = audio::Player::open(nullptr, score_of(order), tone_rate_hz);
    if (player) (*player)->set(settings);
    return player;
  }
  const auto source = sources_.find(order.take_key);
  if (source == sources_.end() || source->second.recording.empty()) {
    return fail(ErrorCode::not_found, "The recording is not there; put it beside its take.");
  }
  audio::OpenOptions opening;
  opening.with_content_hash = false;
  auto reader = audio::open_recording(source->second.recording, opening);
  if (!reader) return tl::unexpected(reader.error());
  settings.speed_ratio = order.speed_ratio;
  auto player = audio::Player::open(std::move(*reader), {});
  if (player) (*player)->set(settings);
  return player;
}

void DrillSounder::play(const drill::SoundOrder& order, const std::function<void(double)>& tick) {
  using Clock = std::chrono::steady_clock;
  if (is_silent_) return describe(order);
  auto player = player_for(order);
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
  const bool is_recorded = order.source == drill::SoundOrder::Source::recording;
  audio::PlayerSettings settings = (*player)->settings();
  const auto begun = Clock::now();
  const std::int64_t first = is_recorded ? order.stretch.begin_samples : 0;
  const double end = is_recorded ? static_cast<double>(order.stretch.end_samples)
                                 : order.length_seconds * tone_rate_hz;
  if (order.fade_in_seconds > 0.0) {
    settings.gain_db = quietest_db;
    (*player)->set(settings);
  }
  (*player)->play_from(first);
  for (;;) {
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
    const double passed = std::chrono::duration<double>(Clock::now() - begun).count();
    if (order.fade_in_seconds > 0.0 && settings.gain_db < 0.0) {
      settings.gain_db = std::min(0.0, quietest_db * (1.0 - passed / order.fade_in_seconds));
      (*player)->set(settings);
    }
    const audio::PlayerStatus status = (*player)->status();
    if (status.error) remark(status.error->message);
    tick((status.place_samples - static_cast<double>(first)) / (*player)->sample_rate_hz());
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
