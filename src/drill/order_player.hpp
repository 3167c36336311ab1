#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>

#include "src/audio/player.hpp"
#include "src/base/result.hpp"
#include "src/drill/sound.hpp"

namespace lowstride::drill {

/// The order as it can be played: an accompaniment whose recording is not there (`recording` is
/// empty) is made of its tones.
[[nodiscard]] SoundOrder at_hand(SoundOrder order, const std::filesystem::path& recording);

/// A player set up for one order: the recording at the order's speed, or its tones on plucked
/// strings with the clicks. An accompaniment of a recording has the low voice taken out by the
/// notes that the order leaves out, and a bar of count-in before it. Begin it with
/// `play_from(first_sample(order))`; what is asked for is over at `end_sample(order)`.
/// `recording` is that of the order's take, empty where there is none. Errors: not_found (the
/// recording is wanted and not there); those of open_recording. Of `options` the fade-in is the
/// order's own.
[[nodiscard]] Result<std::unique_ptr<audio::Player>> open_player(
    const SoundOrder& order, const std::filesystem::path& recording,
    audio::PlayerOptions options = {});

/// In samples of the player.
[[nodiscard]] std::int64_t first_sample(const SoundOrder& order) noexcept;
[[nodiscard]] double end_sample(const SoundOrder& order) noexcept;

/// Seconds of the order that have been heard when its player stands at a place, count-in included.
[[nodiscard]] double heard_seconds(const SoundOrder& order, double place_samples,
                                   double sample_rate_hz) noexcept;

}  // namespace lowstride::drill
