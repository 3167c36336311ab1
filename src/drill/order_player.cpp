#include "src/drill/order_player.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>
#include <vector>

#include "src/audio/recording.hpp"
#include "src/audio/score.hpp"

namespace lowstride::drill {
namespace {

constexpr double tone_rate_hz = 48000.0;
constexpr double ring_seconds = 0.2;  // what is let ring after the last tone
constexpr double chords_gain_db = -6.0;

std::int64_t samples_of(double seconds) { return std::llround(seconds * tone_rate_hz); }

bool is_recorded(const SoundOrder& order) noexcept {
  return order.source == SoundOrder::Source::recording;
}

/// Tones that begin and end together are a chord, the others the line.
audio::Score score_of_tones(const SoundOrder& order) {
  audio::Score score;
  score.a4_hz = order.a4_hz;
  score.length_samples = samples_of(order.length_seconds + ring_seconds);
  std::map<std::pair<std::int64_t, std::int64_t>, std::vector<int>> chords;
  const auto ends_of = [](const Tone& tone) {
    return std::pair{samples_of(tone.begin_seconds),
                     samples_of(tone.begin_seconds + tone.length_seconds)};
  };
  for (const Tone& tone : order.tones) chords[ends_of(tone)].push_back(tone.midi);
  for (const Tone& tone : order.tones) {
    const auto ends = ends_of(tone);
    if (chords[ends].size() > 1) continue;
    score.notes.push_back({ends.first, ends.second, static_cast<double>(tone.midi), tone.is_dead});
  }
  for (auto& [ends, pitches] : chords) {
    if (pitches.size() < 2) continue;
    std::ranges::sort(pitches);
    score.chords.push_back({ends.first, ends.second, pitches});
  }
  std::ranges::sort(score.notes, {}, &audio::ScoreNote::onset_samples);
  for (std::size_t i = 0; i < order.clicks_seconds.size(); ++i) {
    score.beats.push_back({samples_of(order.clicks_seconds[i]), 1 + static_cast<int>(i) / 4,
                           1 + static_cast<int>(i) % 4});
  }
  return score;
}

/// What a recording needs to be played over: its beats for the count-in, and the part that is left
/// out.
audio::Score score_of_accompaniment(const SoundOrder& order, double rate_hz) {
  audio::Score score;
  score.a4_hz = order.a4_hz;
  score.length_samples = order.stretch.end_samples;
  for (std::size_t i = 0; i < order.beat_samples.size(); ++i) {
    const auto beat = static_cast<int>(i);
    score.beats.push_back(
        {order.beat_samples[i], 1 + beat / order.beats_per_bar, 1 + beat % order.beats_per_bar});
  }
  for (const Tone& tone : order.left_out) {
    const auto sample = [&](double seconds) {
      return order.stretch.begin_samples + std::llround(seconds * rate_hz);
    };
    score.notes.push_back({sample(tone.begin_seconds),
                           sample(tone.begin_seconds + tone.length_seconds),
                           static_cast<double>(tone.midi), tone.is_dead});
  }
  return score;
}

}  // namespace

SoundOrder at_hand(SoundOrder order, const std::filesystem::path& recording) {
  if (order.is_accompaniment && recording.empty()) order.source = SoundOrder::Source::tones;
  return order;
}

Result<std::unique_ptr<audio::Player>> open_player(const SoundOrder& order,
                                                   const std::filesystem::path& recording,
                                                   audio::PlayerOptions options) {
  options.fade_in_seconds = order.fade_in_seconds;
  audio::PlayerSettings settings;
  if (!is_recorded(order)) {
    settings.recording.is_on = false;
    settings.line.is_on = true;
    settings.chords = {.is_on = true, .gain_db = chords_gain_db};
    settings.click =
        order.clicks_seconds.empty() ? audio::ClickPattern::none : audio::ClickPattern::all;
    auto player = audio::Player::open(nullptr, score_of_tones(order), tone_rate_hz, options);
    if (player) (*player)->set(settings);
    return player;
  }
  if (recording.empty()) {
    return fail(ErrorCode::not_found, "The recording is not there; put it beside its take.");
  }
  audio::OpenOptions opening;
  opening.with_content_hash = false;
  opening.reads_while_decoding = true;
  auto reader = audio::open_recording(recording, opening);
  if (!reader) return tl::unexpected(reader.error());
  settings.speed_ratio = order.speed_ratio;
  audio::Score score;
  if (order.is_accompaniment) {
    settings.low_voice.use = audio::LowVoiceUse::minus;
    settings.count_in_bars = 1;
    score = score_of_accompaniment(order, (*reader)->info().sample_rate_hz);
  }
  auto player = audio::Player::open(std::move(*reader), std::move(score), tone_rate_hz, options);
  if (player) (*player)->set(settings);
  return player;
}

std::int64_t first_sample(const SoundOrder& order) noexcept {
  return is_recorded(order) ? order.stretch.begin_samples : 0;
}

double end_sample(const SoundOrder& order) noexcept {
  return is_recorded(order) ? static_cast<double>(order.stretch.end_samples)
                            : order.length_seconds * tone_rate_hz;
}

double heard_seconds(const SoundOrder& order, double place_samples,
                     double sample_rate_hz) noexcept {
  if (!is_recorded(order)) return place_samples / sample_rate_hz;
  const double passed = place_samples - static_cast<double>(order.stretch.begin_samples);
  return std::max(0.0, order.lead_seconds + passed / sample_rate_hz / order.speed_ratio);
}

}  // namespace lowstride::drill
