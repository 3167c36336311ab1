#include "src/notation/written_grid.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "src/notation/line_builder.hpp"
#include "src/take/proposals.hpp"
#include "src/take/validate.hpp"

namespace lowstride::notation {

std::optional<BeatUnit> beat_unit(int numerator, int denominator) noexcept {
  BeatUnit unit{numerator, 4.0 / denominator};
  if (denominator < 4) unit = {numerator * 4 / denominator, 1.0};
  for (const int group : {3, 2}) {
    while (unit.beats_a_bar > take::most_beats_per_bar && unit.beats_a_bar % group == 0) {
      unit.beats_a_bar /= group;
      unit.quarters *= group;
    }
  }
  if (unit.beats_a_bar > take::most_beats_per_bar) return std::nullopt;
  return unit;
}

WrittenGrid::WrittenGrid(std::vector<WrittenBar> bars, const Seconds& seconds)
    : bars_(std::move(bars)) {
  for (const WrittenBar& bar : bars_) {
    places_.insert(places_.end(), bar.beat_places.begin(), bar.beat_places.end());
  }
  if (!bars_.empty()) places_.push_back(bars_.back().end_place);
  for (const double place : places_) {
    const std::int64_t time = take::to_samples(seconds(place), read_time_base_hz);
    // Two beats at one sample would be none.
    samples_.push_back(samples_.empty() ? time : std::max(time, samples_.back() + 1));
  }
}

std::int64_t WrittenGrid::samples(double place) const {
  const auto next = std::ranges::upper_bound(places_, place);
  const auto index = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(
      next - places_.begin() - 1, 0, static_cast<std::ptrdiff_t>(places_.size()) - 2));
  const double share = (place - places_[index]) / (places_[index + 1] - places_[index]);
  const auto from = static_cast<double>(samples_[index]);
  const auto to = static_cast<double>(samples_[index + 1]);
  return std::max<std::int64_t>(0, std::llround(from + share * (to - from)));
}

void WrittenGrid::add_to(take::Take& take) const {
  std::map<int, std::size_t> counts;
  for (const WrittenBar& bar : bars_) ++counts[bar.usual_beat_count];
  const auto usual =
      std::ranges::max_element(counts, {}, [](const auto& entry) { return entry.second; });
  const int beats_per_bar = usual == counts.end() ? 4 : usual->first;
  take.beats_per_bar =
      std::clamp(beats_per_bar, take::least_beats_per_bar, take::most_beats_per_bar);
  take.meter_state = take::State::confirmed;
  take.length_samples = std::max(take.length_samples, end_samples());
  std::size_t at = 0;
  int number = 1;
  for (std::size_t i = 0; i < bars_.size(); ++i) {
    const auto count = static_cast<int>(bars_[i].beat_places.size());
    const int next = i + 1 < bars_.size() ? bars_[i + 1].usual_beat_count : 0;
    const int full = std::max({count, bars_[i].usual_beat_count, next});
    const bool is_pickup = i == 0 && bars_.size() > 1 && (bars_[i].is_pickup || count < full);
    for (int beat = 1; beat <= count; ++beat) {
      take::Beat& made = take.beats.emplace_back();
      made.time_samples = samples_[at++];
      made.bar = is_pickup ? 0 : number;
      made.beat = is_pickup ? full - count + beat : beat;
      made.state = take::State::confirmed;
      made.confidence = 1.0;
    }
    if (!is_pickup) ++number;
  }
}

void add_passage(take::Take& take, std::string_view name, std::int64_t begin_samples,
                 std::int64_t end_samples) {
  std::string plain = take::to_plain_text(name);
  if (plain.empty()) plain = "passage";
  std::string unique = plain;
  const auto is_taken = [&] {
    return std::ranges::any_of(take.passages,
                               [&](const take::Passage& other) { return other.name == unique; });
  };
  for (int i = 2; is_taken(); ++i) unique = fmt::format("{} {}", plain, i);
  take::Passage& passage = take.passages.emplace_back();
  passage.name = unique;
  passage.begin_samples = begin_samples;
  passage.end_samples = end_samples;
}

}  // namespace lowstride::notation
