#include "dsp/harmony/chord_repeats.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <functional>
#include <vector>

#include "dsp/base/chord_quality.hpp"
#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::ptrdiff_t reach_bars = 4;         // surroundings, to each side
constexpr std::ptrdiff_t fewest_neighbours = 4;  // less says nothing
constexpr double alike = 0.5;                    // agreement from which a bar counts
constexpr double the_same = 0.85;                // and from which it counts in full
constexpr std::size_t farthest_bars = 512;       // about a quarter of an hour; bounds the time

using Roots = std::array<float, pitch_class_count + 1>;  // probability of each root, and of none

struct Bar {
  std::size_t first_beat = 0;
  std::vector<Roots> roots;  // of each beat
};

std::vector<Bar> full_bars(const Table& posterior, const DecodedGrid& grid) {
  std::vector<Bar> bars;
  const auto length = static_cast<std::size_t>(grid.beats_per_bar);
  for (std::size_t i = 0; i + length <= grid.beats.size(); ++i) {
    if (grid.beats[i].beat != 1 || grid.beats[i + length - 1].bar != grid.beats[i].bar) continue;
    if (i + length < grid.beats.size() && grid.beats[i + length].bar == grid.beats[i].bar) continue;
    Bar bar;
    bar.first_beat = i;
    for (std::size_t k = i; k < i + length; ++k) {
      Roots roots{};
      const auto row = posterior.row(k);
      for (std::size_t c = 0; c < no_chord_column; ++c) roots[c / chord_quality_count] += row[c];
      roots[pitch_class_count] = row[no_chord_column];
      bar.roots.push_back(roots);
    }
    bars.push_back(std::move(bar));
  }
  return bars;
}

/// Probability that two bars have the same roots, mean over their beats.
float agreement(const Bar& a, const Bar& b) {
  float sum = 0.0F;
  for (std::size_t k = 0; k < a.roots.size(); ++k) {
    for (std::size_t r = 0; r < a.roots[k].size(); ++r) sum += a.roots[k][r] * b.roots[k][r];
  }
  return sum / static_cast<float>(a.roots.size());
}

}  // namespace

Table with_repeats(const Table& emission, const Table& posterior, const DecodedGrid& grid,
                   double weight) {
  LOWSTRIDE_EXPECTS(emission.row_count() == grid.beats.size());
  LOWSTRIDE_EXPECTS(posterior.row_count() == grid.beats.size());
  const auto bars = full_bars(posterior, grid);
  const std::size_t count = bars.size();
  Table extra(emission.row_count(), emission.column_count(), 0.0F);  // the result in the end
  std::vector<double> total(count, 0.0);

  // All pairs at one distance share their agreements: run along each distance once.
  for (std::size_t distance = 1; distance < std::min(count, farthest_bars); ++distance) {
    std::vector<float> sums(count - distance + 1, 0.0F);
    for (std::size_t a = 0; a + distance < count; ++a) {
      sums[a + 1] = sums[a] + agreement(bars[a], bars[a + distance]);
    }
    const auto pairs = static_cast<std::ptrdiff_t>(count - distance);
    for (std::ptrdiff_t a = 0; a < pairs; ++a) {
      const std::ptrdiff_t begin = std::max<std::ptrdiff_t>(0, a - reach_bars);
      const std::ptrdiff_t end = std::min(pairs, a + reach_bars + 1);
      const std::ptrdiff_t neighbours = end - begin - 1;
      if (neighbours < fewest_neighbours) continue;
      const auto at = [&](std::ptrdiff_t i) { return sums[static_cast<std::size_t>(i)]; };
      const double mean = static_cast<double>(at(end) - at(begin) - (at(a + 1) - at(a))) /
                          static_cast<double>(neighbours);
      if (mean <= alike) continue;
      const double share = std::min(1.0, (mean - alike) / (the_same - alike));
      const auto first = static_cast<std::size_t>(a);
      const std::size_t second = first + distance;
      total[first] += share;
      total[second] += share;
      for (std::size_t k = 0; k < bars[first].roots.size(); ++k) {
        const std::size_t here = bars[first].first_beat + k;
        const std::size_t there = bars[second].first_beat + k;
        for (std::size_t c = 0; c < emission.column_count(); ++c) {
          extra.row(here)[c] += static_cast<float>(share) * emission.row(there)[c];
          extra.row(there)[c] += static_cast<float>(share) * emission.row(here)[c];
        }
      }
    }
  }
  for (std::size_t a = 0; a < count; ++a) {
    if (total[a] <= 0.0) continue;
    const auto scale = static_cast<float>(weight * std::min(1.0, total[a]) / total[a]);
    for (std::size_t k = 0; k < bars[a].roots.size(); ++k) {
      for (float& value : extra.row(bars[a].first_beat + k)) value *= scale;
    }
  }
  for (std::size_t row = 0; row < emission.row_count(); ++row) {
    std::ranges::transform(emission.row(row), extra.row(row), extra.row(row).begin(),
                           std::plus<>());
  }
  return extra;
}

}  // namespace lowstride::dsp
