#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "src/take/take.hpp"

namespace lowstride::notation {

/// What counts as a beat in a meter: quarters, or the meter's own unit where that is shorter; two
/// or three units where there are more than a bar of a take holds (12).
struct BeatUnit {
  int beats_a_bar = 4;
  double quarters = 1.0;  // of one beat
};
/// Nothing for a meter that cannot be counted so (17/8). Requires both > 0.
[[nodiscard]] std::optional<BeatUnit> beat_unit(int numerator, int denominator) noexcept;

/// A bar as a file has it, in the file's own count of time (ticks, divisions).
struct WrittenBar {
  std::vector<double> beat_places;  // rising; one at least
  double end_place = 0.0;           // where the next bar begins
  int usual_beat_count = 4;         // of its meter
  bool is_pickup = false;
};

/// Bars and beats with their times. A first bar shorter than its meter, or than the bars after it,
/// is a pick-up (bar 0, its beats the last of a bar); else counting begins with bar 1.
class WrittenGrid {
 public:
  using Seconds = std::function<double(double place)>;

  WrittenGrid() = default;
  WrittenGrid(std::vector<WrittenBar> bars, const Seconds& seconds);

  [[nodiscard]] bool is_empty() const noexcept { return places_.size() < 2; }
  /// A place as samples: even within each beat, so that places in the bar are kept.
  [[nodiscard]] std::int64_t samples(double place) const;
  /// Where the last bar ends. Requires !is_empty().
  [[nodiscard]] std::int64_t end_samples() const { return samples_.back(); }
  /// Gives a take its beats, its meter and its length, confirmed.
  void add_to(take::Take& take) const;

 private:
  std::vector<WrittenBar> bars_;
  std::vector<double> places_;         // of all beats and of the end
  std::vector<std::int64_t> samples_;  // and their times
};

/// Adds a passage under its name, or "NAME 2" where that is taken. An empty name becomes "passage".
void add_passage(take::Take& take, std::string_view name, std::int64_t begin_samples,
                 std::int64_t end_samples);

}  // namespace lowstride::notation
