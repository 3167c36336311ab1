#include "src/drill/memory.hpp"

#include <cmath>

#include "src/drill/memory_formulas.hpp"

namespace lowstride::drill {

std::string_view grade_text(Grade grade) noexcept {
  switch (grade) {
    case Grade::missed:
      return "missed";
    case Grade::with_hints:
      return "with hints";
    case Grade::slow:
      return "slow";
    case Grade::at_once:
      break;
  }
  return "at once";
}

Memory first_memory(const Weights& weights, Grade grade) noexcept {
  const auto memory = detail::first_memory<double>(weights, static_cast<int>(grade));
  return {memory.stability_days, memory.difficulty};
}

Memory next_memory(const Weights& weights, const Memory& memory, Grade grade, int days) noexcept {
  const auto next = detail::next_memory<double>(weights, {memory.stability_days, memory.difficulty},
                                                static_cast<int>(grade), days);
  return {next.stability_days, next.difficulty};
}

double recall_probability(const Weights& weights, double stability_days, double days) noexcept {
  return detail::recall<double>(weights, stability_days, std::max(0.0, days));
}

int interval_days(const Weights& weights, double stability_days, double retention) noexcept {
  const double factor = std::pow(0.9, -1.0 / weights[20]) - 1.0;
  const double days = stability_days / factor * (std::pow(retention, -1.0 / weights[20]) - 1.0);
  return static_cast<int>(std::lround(std::clamp(days, 1.0, detail::most_stability_days)));
}

}  // namespace lowstride::drill
