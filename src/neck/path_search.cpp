#include "src/neck/path_search.hpp"

#include <algorithm>
#include <cstdint>
#include <utility>

namespace lowstride::neck::detail {
namespace {

double move(const Hand& hand, const Stage& a, std::size_t from, const Stage& b,
            std::size_t to) noexcept {
  return hand.move_cost(a.grips[from], a.note, b.grips[to], b.note);
}

}  // namespace

Solution cheapest_path(const Hand& hand, std::span<const Stage> stages, const Neighbour& before,
                       const Neighbour& after) {
  const std::size_t count = stages.size();
  std::vector<std::vector<double>> ahead(count);  // cost up to and with the grip
  std::vector<std::vector<std::uint32_t>> from(count);
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t grip_count = stages[i].grips.size();
    ahead[i].assign(grip_count, 0.0);
    from[i].assign(grip_count, 0);
    for (std::size_t to = 0; to < grip_count; ++to) {
      double reached = 0.0;
      if (i > 0) {
        reached = unreached;
        for (std::size_t k = 0; k < stages[i - 1].grips.size(); ++k) {
          const double cost = ahead[i - 1][k] + move(hand, stages[i - 1], k, stages[i], to);
          if (cost < reached) {
            reached = cost;
            from[i][to] = static_cast<std::uint32_t>(k);
          }
        }
      } else if (before.stage != nullptr) {
        reached =
            hand.move_cost(before.grip, before.stage->note, stages[i].grips[to], stages[i].note);
      }
      ahead[i][to] = reached + hand.hold_cost(stages[i].grips[to]);
    }
  }

  std::vector<std::vector<double>> behind(count);  // cost after the grip
  for (std::size_t i = count; i-- > 0;) {
    behind[i].assign(stages[i].grips.size(), 0.0);
    for (std::size_t k = 0; k < stages[i].grips.size(); ++k) {
      if (i + 1 < count) {
        behind[i][k] = unreached;
        for (std::size_t to = 0; to < stages[i + 1].grips.size(); ++to) {
          const double cost = move(hand, stages[i], k, stages[i + 1], to) +
                              hand.hold_cost(stages[i + 1].grips[to]) + behind[i + 1][to];
          behind[i][k] = std::min(behind[i][k], cost);
        }
      } else if (after.stage != nullptr) {
        behind[i][k] =
            hand.move_cost(stages[i].grips[k], stages[i].note, after.grip, after.stage->note);
      }
    }
  }

  Solution solution;
  solution.path.resize(count);
  solution.through.resize(count);
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t k = 0; k < ahead[i].size(); ++k) {
      solution.through[i].push_back(ahead[i][k] + behind[i][k]);
    }
  }
  solution.ahead = std::move(ahead);
  solution.behind = std::move(behind);
  if (count == 0) return solution;
  std::size_t grip = 0;
  for (std::size_t k = 0; k < solution.through.back().size(); ++k) {
    if (solution.through.back()[k] < solution.through.back()[grip]) grip = k;
  }
  for (std::size_t i = count; i-- > 0;) {
    solution.path[i] = stages[i].grips[grip];
    grip = from[i][grip];
  }
  return solution;
}

}  // namespace lowstride::neck::detail
