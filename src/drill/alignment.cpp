#include "src/drill/alignment.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace lowstride::drill::detail {
namespace {

constexpr double left_out = 0.8;  // costs of a note that is open, or extra
constexpr double farthest_beats = 0.5;

double pair_cost(const ItemNote& right, const AnsweredNote& heard, double shift_beats) {
  const double apart = std::abs(heard.beat - shift_beats - right.beat);
  if (apart > farthest_beats + 1e-9) return std::numeric_limits<double>::infinity();
  const int difference = heard.midi - right.midi;
  double pitch = 0.6;
  if (right.is_dead || heard.is_dead) {
    pitch = right.is_dead == heard.is_dead ? 0.0 : 0.6;
  } else if (difference == 0) {
    pitch = 0.0;
  } else if (difference % 12 == 0) {
    pitch = 0.3;
  }
  return pitch + 0.6 * apart;
}

}  // namespace

std::vector<Pairing> align(std::span<const ItemNote> right, std::span<const AnsweredNote> heard,
                           double shift_beats) {
  const std::size_t rows = right.size() + 1;
  const std::size_t columns = heard.size() + 1;
  std::vector<double> cost(rows * columns, 0.0);
  const auto at = [&](std::size_t r, std::size_t h) -> double& { return cost[r * columns + h]; };
  for (std::size_t r = 1; r < rows; ++r) at(r, 0) = at(r - 1, 0) + left_out;
  for (std::size_t h = 1; h < columns; ++h) at(0, h) = at(0, h - 1) + left_out;
  for (std::size_t r = 1; r < rows; ++r) {
    for (std::size_t h = 1; h < columns; ++h) {
      at(r, h) = std::min({at(r - 1, h - 1) + pair_cost(right[r - 1], heard[h - 1], shift_beats),
                           at(r - 1, h) + left_out, at(r, h - 1) + left_out});
    }
  }
  std::vector<Pairing> pairs;
  std::size_t r = right.size();
  std::size_t h = heard.size();
  while (r > 0 || h > 0) {
    const bool is_pair =
        r > 0 && h > 0 &&
        at(r, h) == at(r - 1, h - 1) + pair_cost(right[r - 1], heard[h - 1], shift_beats);
    if (is_pair) {
      pairs.push_back({--r, --h});
    } else if (r > 0 && at(r, h) == at(r - 1, h) + left_out) {
      pairs.push_back({--r, std::nullopt});
    } else {
      pairs.push_back({std::nullopt, --h});
    }
  }
  std::reverse(pairs.begin(), pairs.end());
  return pairs;
}

}  // namespace lowstride::drill::detail
