#include "src/sheet/grid.hpp"

#include <algorithm>
#include <cmath>

#include "dsp/base/contracts.hpp"

namespace lowstride::sheet {
namespace {

constexpr double least_swing_ratio = 1.3;
constexpr double most_swing_ratio = 4.0;
constexpr std::size_t least_off_beats = 3;     // that tell how a line swings
constexpr std::ptrdiff_t tempo_intervals = 8;  // that a continued grid takes its tempo from

std::int64_t median(std::vector<std::int64_t> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

std::vector<std::int64_t> intervals(std::span<const GridBeat> beats) {
  std::vector<std::int64_t> all;
  for (std::size_t i = 1; i < beats.size(); ++i) {
    all.push_back(std::max<std::int64_t>(1, beats[i].time_samples - beats[i - 1].time_samples));
  }
  return all;
}

GridBeat before(const GridBeat& beat, std::int64_t period, int beats_per_bar) {
  if (beat.beat > 1) return {beat.time_samples - period, beat.bar, beat.beat - 1};
  return {beat.time_samples - period, beat.bar - 1, beats_per_bar};
}

GridBeat after(const GridBeat& beat, std::int64_t period, int beats_per_bar) {
  if (beat.beat < beats_per_bar) return {beat.time_samples + period, beat.bar, beat.beat + 1};
  return {beat.time_samples + period, beat.bar + 1, 1};
}

/// The ratio at which the line's own off-beats divide their beats. A beat counts that has one note
/// near its beginning or none, and then one between 0.4 and 0.8 of it; triplets do not.
std::optional<double> swing_of_line(const take::Take& take) {
  const std::vector<GridBeat> beats = written_grid(take);
  if (beats.empty()) return std::nullopt;
  std::vector<double> positions;
  for (const take::Note& note : take.notes) {
    if (!note.is_dead) positions.push_back(beat_position(beats, note.onset_samples));
  }
  std::vector<double> shares;
  for (std::size_t i = 0; i < positions.size(); ++i) {
    const double share = positions[i] - std::floor(positions[i]);
    if (share < 0.4 || share > 0.8) continue;
    const double since = i > 0 ? positions[i] - positions[i - 1] : 1.0;
    const double until = i + 1 < positions.size() ? positions[i + 1] - positions[i] : 1.0;
    // The note before lies on the beat or earlier, the next one on the next beat or later.
    if (since > share - 0.15 && until > 0.8 - share) shares.push_back(share);
  }
  if (shares.size() < least_off_beats) return std::nullopt;
  const auto middle = shares.begin() + static_cast<std::ptrdiff_t>(shares.size() / 2);
  std::nth_element(shares.begin(), middle, shares.end());
  return *middle / (1.0 - *middle);
}

}  // namespace

std::vector<GridBeat> written_grid(const take::Take& take, int most_bars) {
  std::vector<GridBeat> beats;
  for (const take::Beat& beat : take.beats) {
    if (!beats.empty() && beat.time_samples <= beats.back().time_samples) continue;
    beats.push_back({beat.time_samples, beat.bar, beat.beat});
  }
  if (beats.size() < 2) return {};
  const int beats_per_bar = std::max(1, take.beats_per_bar);
  const std::vector<std::int64_t> steps = intervals(beats);
  const auto near = std::min(tempo_intervals, static_cast<std::ptrdiff_t>(steps.size()));
  const std::int64_t first_period = median({steps.begin(), steps.begin() + near});
  const std::int64_t last_period = median({steps.end() - near, steps.end()});

  // An onset up to an eighth of a beat early still belongs to its beat.
  const int most_beats = most_bars * beats_per_bar;
  std::vector<GridBeat> lead;
  const auto earliest = [&] { return lead.empty() ? beats.front() : lead.back(); };
  for (int i = 0; i < most_beats; ++i) {
    const bool holds_line =
        take.notes.empty() ||
        earliest().time_samples <= take.notes.front().onset_samples + first_period / 8;
    const bool is_whole = earliest().bar <= 0 || earliest().beat == 1;
    if (holds_line && is_whole) break;
    lead.push_back(before(earliest(), first_period, beats_per_bar));
  }
  beats.insert(beats.begin(), lead.rbegin(), lead.rend());

  for (int i = 0; i < most_beats; ++i) {
    const bool holds_line =
        take.notes.empty() ||
        beats.back().time_samples > take.notes.back().onset_samples + last_period / 8;
    if (holds_line) break;
    beats.push_back(after(beats.back(), last_period, beats_per_bar));
  }
  while (beats.back().beat < beats_per_bar) {
    beats.push_back(after(beats.back(), last_period, beats_per_bar));
  }
  beats.push_back({beats.back().time_samples + last_period, beats.back().bar + 1, 1});
  return beats;
}

double beat_position(std::span<const GridBeat> beats, std::int64_t time_samples) {
  LOWSTRIDE_EXPECTS(beats.size() >= 2);
  const auto next = std::ranges::upper_bound(beats, time_samples, {}, &GridBeat::time_samples);
  const auto index = std::clamp<std::ptrdiff_t>(next - beats.begin() - 1, 0,
                                                static_cast<std::ptrdiff_t>(beats.size()) - 2);
  const GridBeat& from = beats[static_cast<std::size_t>(index)];
  const GridBeat& to = beats[static_cast<std::size_t>(index) + 1];
  return static_cast<double>(index) + static_cast<double>(time_samples - from.time_samples) /
                                          static_cast<double>(to.time_samples - from.time_samples);
}

double position_samples(std::span<const GridBeat> beats, double position) {
  LOWSTRIDE_EXPECTS(beats.size() >= 2);
  const double last = static_cast<double>(beats.size() - 2);
  const double index = std::clamp(std::floor(position), 0.0, last);
  const GridBeat& from = beats[static_cast<std::size_t>(index)];
  const GridBeat& to = beats[static_cast<std::size_t>(index) + 1];
  return static_cast<double>(from.time_samples) +
         (position - index) * static_cast<double>(to.time_samples - from.time_samples);
}

std::optional<double> written_swing_ratio(const take::Take& take) {
  std::optional<double> ratio = take.swing_ratio;
  if (!ratio) ratio = swing_of_line(take);
  if (!ratio || *ratio < least_swing_ratio) return std::nullopt;
  return std::min(*ratio, most_swing_ratio);
}

double long_share_of(const std::optional<double>& swing_ratio) noexcept {
  return swing_ratio ? *swing_ratio / (1.0 + *swing_ratio) : 0.5;
}

}  // namespace lowstride::sheet
