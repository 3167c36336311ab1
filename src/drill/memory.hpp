#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

namespace lowstride::drill {

/// How an answer went. The numbers are those of the published formulas.
enum class Grade : std::uint8_t { missed = 1, with_hints = 2, slow = 3, at_once = 4 };

/// "missed", "with hints", "slow", "at once".
[[nodiscard]] std::string_view grade_text(Grade grade) noexcept;

inline constexpr std::size_t weight_count = 21;
using Weights = std::array<double, weight_count>;

/// The published default weights of FSRS-6 (2025), in their order w0 .. w20.
inline constexpr Weights default_weights{0.212,  1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194,
                                         0.001,  1.8722, 0.1666, 0.796,  1.4835, 0.0614, 0.2629,
                                         1.6483, 0.6014, 1.8729, 0.5425, 0.0912, 0.0658, 0.1542};

/// What is remembered of one item: how long it holds (days until recall falls to 90 %) and how hard
/// it is, 1 .. 10.
struct Memory {
  double stability_days = 0.0;
  double difficulty = 5.0;

  bool operator==(const Memory&) const = default;
};

// The memory model FSRS-6: difficulty, stability and retrievability of an item, moved by each
// answer. Source: the published formulas and default weights of the open FSRS project, version 6
// (2025), as in its reference implementation. Pure functions of their arguments; `weights` lie
// within `least_weights` and `most_weights` (fit.hpp) and grades within 1 .. 4.

/// After the first answer to an item.
[[nodiscard]] Memory first_memory(const Weights& weights, Grade grade) noexcept;

/// After a further answer, `days` whole days after the last one; 0 is the same day, which follows a
/// formula of its own. Requires days >= 0.
[[nodiscard]] Memory next_memory(const Weights& weights, const Memory& memory, Grade grade,
                                 int days) noexcept;

/// Probability that the item would be answered now, `days` (with fraction) after the last answer.
[[nodiscard]] double recall_probability(const Weights& weights, double stability_days,
                                        double days) noexcept;

/// Days until recall falls to `retention` (0 < retention < 1), rounded to whole days, at least 1.
/// At 0.9 that is the stability itself.
[[nodiscard]] int interval_days(const Weights& weights, double stability_days,
                                double retention = 0.9) noexcept;

}  // namespace lowstride::drill
