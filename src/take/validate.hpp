#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "src/base/result.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

/// What a take may hold. Generous beside any music; tight enough that a damaged or hostile file is
/// recognised.
inline constexpr std::int64_t most_length_samples = std::int64_t{192'000} * 3600 * 24;
inline constexpr std::int64_t least_time_base_hz = 1'000;
inline constexpr std::int64_t most_time_base_hz = 768'000;
inline constexpr std::size_t most_notes = 250'000;
inline constexpr std::size_t most_beats = 250'000;
inline constexpr std::size_t most_chords = 100'000;
inline constexpr std::size_t most_gaps = 250'000;
inline constexpr std::size_t most_stabs = 250'000;
inline constexpr std::size_t most_passages = 10'000;
inline constexpr int passage_colour_count = 6;
inline constexpr std::size_t most_remarks = 10'000;
inline constexpr std::size_t most_alternatives = 64;
inline constexpr std::size_t most_text_bytes = 10'000;
inline constexpr int most_strings = 12;
inline constexpr int most_frets = 36;
inline constexpr double least_a4_hz = 380.0;
inline constexpr double most_a4_hz = 500.0;
inline constexpr int least_beats_per_bar = 2;
inline constexpr int most_beats_per_bar = 12;

/// Whether everything that a take promises holds: ranges, finite numbers, order of time, no
/// overlap, unique ids below `next_id`, unique passage names. Error: damaged, with one sentence
/// that names the first entry at fault.
[[nodiscard]] Result<void> check_take(const Take& take);

/// Whether a note can be played at a position on the take's neck: the string and fret are there,
/// finger 0..4, and they sound `midi` + 12 * `octave_shift`; of a dead note any string and fret.
[[nodiscard]] bool is_playable_at(const Take& take, const Note& note,
                                  const neck::Position& position);

/// Whether the positions of a stab are on a neck: one at least, one a string, lowest string first,
/// finger 0 on an open string and 1..4 on a fret.
[[nodiscard]] bool is_stab_on_neck(const neck::Neck& neck, const Stab& stab) noexcept;

/// Text that a take may hold: valid UTF-8 of at most `most_text_bytes`, no control characters.
[[nodiscard]] bool is_plain_text(std::string_view text) noexcept;
/// The text with what is not plain replaced by spaces or U+FFFD, cut to `most_text_bytes`.
[[nodiscard]] std::string to_plain_text(std::string_view text);

}  // namespace lowstride::take
