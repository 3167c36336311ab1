#pragma once

#include <array>
#include <cmath>
#include <cstddef>

namespace lowstride::drill::detail {

/// A number with its derivatives by N parameters: forward-mode differentiation (Wengert, CACM 7(8),
/// 1964). Only what the memory model needs.
template <std::size_t N>
struct Dual {
  double value = 0.0;
  std::array<double, N> slope{};

  Dual() = default;
  explicit Dual(double constant) : value(constant) {}

  /// f(value) with slope f'(value) * slope.
  [[nodiscard]] Dual through(double f, double derivative) const {
    Dual out(f);
    for (std::size_t i = 0; i < N; ++i) out.slope[i] = derivative * slope[i];
    return out;
  }
  /// f(a, b) by the partial derivatives in each.
  [[nodiscard]] static Dual both(const Dual& a, const Dual& b, double f, double by_a, double by_b) {
    Dual out(f);
    for (std::size_t i = 0; i < N; ++i) out.slope[i] = by_a * a.slope[i] + by_b * b.slope[i];
    return out;
  }

  friend Dual operator+(const Dual& a, const Dual& b) {
    return both(a, b, a.value + b.value, 1.0, 1.0);
  }
  friend Dual operator-(const Dual& a, const Dual& b) {
    return both(a, b, a.value - b.value, 1.0, -1.0);
  }
  friend Dual operator-(const Dual& a) { return a.through(-a.value, -1.0); }
  friend Dual operator*(const Dual& a, const Dual& b) {
    return both(a, b, a.value * b.value, b.value, a.value);
  }
  friend Dual operator/(const Dual& a, const Dual& b) {
    const double ratio = a.value / b.value;
    return both(a, b, ratio, 1.0 / b.value, -ratio / b.value);
  }
  friend bool operator<(const Dual& a, const Dual& b) { return a.value < b.value; }
  friend bool operator>(const Dual& a, const Dual& b) { return a.value > b.value; }
  friend Dual exp(const Dual& a) {
    const double f = std::exp(a.value);
    return a.through(f, f);
  }
  friend Dual log(const Dual& a) { return a.through(std::log(a.value), 1.0 / a.value); }
  /// Requires a positive base.
  friend Dual pow(const Dual& a, const Dual& b) {
    const double f = std::pow(a.value, b.value);
    return both(a, b, f, b.value * f / a.value, f * std::log(a.value));
  }
};

}  // namespace lowstride::drill::detail
