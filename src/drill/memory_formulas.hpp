#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "src/drill/memory.hpp"

// The memory model written once for any kind of real number: `double`, and numbers that carry
// their derivatives by the weights (fit.cpp). Scheduling and fitting cannot drift apart.
namespace lowstride::drill::detail {

template <typename Real>
using WeightsOf = std::array<Real, weight_count>;

template <typename Real>
struct MemoryOf {
  Real stability_days{};
  Real difficulty{};
};

inline constexpr double least_stability_days = 0.001;
inline constexpr double most_stability_days = 36500.0;

template <typename Real>
[[nodiscard]] Real within(const Real& value, double low, double high) {
  if (value < Real(low)) return Real(low);
  if (value > Real(high)) return Real(high);
  return value;
}

template <typename Real>
[[nodiscard]] Real recall(const WeightsOf<Real>& w, const Real& stability_days, double days) {
  using std::exp;
  using std::log;
  using std::pow;
  const Real factor = exp(log(Real(0.9)) / (-w[20])) - Real(1.0);
  return pow(Real(1.0) + factor * Real(days) / stability_days, -w[20]);
}

template <typename Real>
[[nodiscard]] Real first_difficulty(const WeightsOf<Real>& w, int grade) {
  using std::exp;
  return w[4] - exp(w[5] * Real(grade - 1.0)) + Real(1.0);
}

template <typename Real>
[[nodiscard]] MemoryOf<Real> first_memory(const WeightsOf<Real>& w, int grade) {
  return {within(w[static_cast<std::size_t>(grade - 1)], least_stability_days, most_stability_days),
          within(first_difficulty(w, grade), 1.0, 10.0)};
}

template <typename Real>
[[nodiscard]] Real same_day_stability(const WeightsOf<Real>& w, const Real& stability, int grade) {
  using std::exp;
  using std::pow;
  const Real gain = exp(w[17] * (Real(grade - 3.0) + w[18])) * pow(stability, -w[19]);
  return grade >= 3 && gain < Real(1.0) ? stability : stability * gain;
}

template <typename Real>
[[nodiscard]] Real lapsed_stability(const WeightsOf<Real>& w, const MemoryOf<Real>& memory,
                                    const Real& recalled) {
  using std::exp;
  using std::pow;
  const Real by_lapse = w[11] * pow(memory.difficulty, -w[12]) *
                        (pow(memory.stability_days + Real(1.0), w[13]) - Real(1.0)) *
                        exp(w[14] * (Real(1.0) - recalled));
  const Real at_most = memory.stability_days / exp(w[17] * w[18]);
  return by_lapse < at_most ? by_lapse : at_most;
}

template <typename Real>
[[nodiscard]] Real grown_stability(const WeightsOf<Real>& w, const MemoryOf<Real>& memory,
                                   const Real& recalled, int grade) {
  using std::exp;
  using std::pow;
  Real gain = exp(w[8]) * (Real(11.0) - memory.difficulty) * pow(memory.stability_days, -w[9]) *
              (exp(w[10] * (Real(1.0) - recalled)) - Real(1.0));
  if (grade == 2) gain = gain * w[15];
  if (grade == 4) gain = gain * w[16];
  return memory.stability_days * (Real(1.0) + gain);
}

template <typename Real>
[[nodiscard]] MemoryOf<Real> next_memory(const WeightsOf<Real>& w, const MemoryOf<Real>& memory,
                                         int grade, int days) {
  Real stability{};
  if (days < 1) {
    stability = same_day_stability(w, memory.stability_days, grade);
  } else {
    const Real recalled = recall(w, memory.stability_days, days);
    stability = grade == 1 ? lapsed_stability(w, memory, recalled)
                           : grown_stability(w, memory, recalled, grade);
  }
  const Real moved =
      memory.difficulty - w[6] * Real(grade - 3.0) * (Real(10.0) - memory.difficulty) / Real(9.0);
  const Real difficulty = w[7] * first_difficulty(w, 4) + (Real(1.0) - w[7]) * moved;
  return {within(stability, least_stability_days, most_stability_days),
          within(difficulty, 1.0, 10.0)};
}

}  // namespace lowstride::drill::detail
