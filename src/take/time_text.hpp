#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "src/base/result.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

/// A place in the grid. `beat` counts from 1 with a fraction towards the next beat: 3.5 is half a
/// beat after the third.
struct BarPosition {
  int bar = 1;
  double beat = 1.0;

  bool operator==(const BarPosition&) const = default;
};

/// Half-open stretch [begin, end) in samples.
struct Stretch {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;

  bool operator==(const Stretch&) const = default;
};

/// Where a sample lies in the grid, linear between beats; before the first and after the last beat
/// the grid goes on with the nearest interval. Nothing when there are fewer than two beats.
[[nodiscard]] std::optional<BarPosition> bar_position(const Take& take, double sample);

/// The sample at a place in the grid, with fraction; may lie outside the take. Nothing when there
/// are fewer than two beats or the bar has no such beat (a short bar, a beat under 1).
[[nodiscard]] std::optional<double> sample_at(const Take& take, const BarPosition& position);

/// The beat nearest to a sample, or null without beats.
[[nodiscard]] const Beat* nearest_beat(const Take& take, std::int64_t sample);

/// Median beats a minute; nothing without two beats.
[[nodiscard]] std::optional<double> median_tempo_bpm(const Take& take);

/// Reads `72.5` (seconds), `1:12.500` (minutes), `1:02:03.5` (hours), or with a leading `b` a bar:
/// `b12`, `b12:3`, `b12:3.5`. Gives a sample within [0, length_samples]. Errors: invalid_argument,
/// one sentence naming the text and the cure.
[[nodiscard]] Result<std::int64_t> parse_time(std::string_view text, const Take& take);

/// The same without a take: seconds or minutes alone; a bar position is an error that says so.
[[nodiscard]] Result<double> parse_seconds(std::string_view text);

/// Reads `FROM..TO`, each as parse_time reads it; FROM before TO. `b5..b8` ends where bar 8 begins.
[[nodiscard]] Result<Stretch> parse_stretch(std::string_view text, const Take& take);

/// `1:12.500`, or `1:02:03.500` from an hour on. Rounded to milliseconds.
[[nodiscard]] std::string format_time(double seconds);
[[nodiscard]] std::string format_time(std::int64_t samples, const Take& take);

/// `b12:3`, or `b12:3.5` where it is not on the beat (two decimals at most); as `1:12.500` when
/// there is no grid. `parse_time` reads both.
[[nodiscard]] std::string format_place(std::int64_t samples, const Take& take);

}  // namespace lowstride::take
