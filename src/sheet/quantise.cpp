#include "src/sheet/quantise.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace lowstride::sheet {
namespace {

/// Scatter of a bass player's onsets about the beat: 21 ms within a track (measured on 34 trios);
/// wider where the beat is long.
double onset_scatter_seconds(double beat_seconds) noexcept { return 0.02 + 0.02 * beat_seconds; }

/// How rare a division is (twice the negative log of its share, up to a constant): the simpler the
/// commoner, and a swinging line hardly ever has quarters of a beat.
struct Candidate {
  Division division;
  double even_price;
  double swung_price;
};
constexpr std::array<Candidate, 5> candidates{
    Candidate{Division::whole, 0.0, 0.0}, Candidate{Division::halves, 1.0, 1.0},
    Candidate{Division::thirds, 4.0, 4.0}, Candidate{Division::quarters, 6.0, 9.0},
    Candidate{Division::sixths, 12.0, 14.0}};
/// Strokes closer than this are rarer the closer they are.
constexpr double fast_slot_seconds = 0.1;
constexpr double fast_slot_price = 20.0;  // towards no time at all

double price_of(const Candidate& candidate, double beat_seconds, double long_share) noexcept {
  const double slot_seconds = beat_seconds / static_cast<double>(candidate.division);
  const double haste = std::max(0.0, 1.0 - slot_seconds / fast_slot_seconds);
  return (long_share > 0.5 ? candidate.swung_price : candidate.even_price) +
         fast_slot_price * haste;
}

/// How far an onset is from a slot, as a share of the beat. A swung second half lies anywhere from
/// the even place to the long one: players' ratios move with every beat.
double distance(double share, int tatums, Division division, double long_share) noexcept {
  if (division == Division::halves && tatums > 0) {
    return std::abs(share - std::clamp(share, 0.5, long_share));
  }
  return std::abs(share - static_cast<double>(tatums) / tatums_per_beat);
}

struct Fit {
  double cost = std::numeric_limits<double>::infinity();
  std::vector<int> tatums;
};

/// Puts rising onsets on different slots at the least sum of squared distances.
Fit fit(std::span<const double> shares, int step, Division division, double scatter_share,
        double long_share) {
  const auto slot_count = static_cast<std::size_t>(tatums_per_beat / step);
  const std::size_t onset_count = shares.size();
  if (onset_count > slot_count) return {};
  // best[n][s]: the first n onsets on the first s slots.
  constexpr double infinity = std::numeric_limits<double>::infinity();
  std::vector<std::vector<double>> best(onset_count + 1,
                                        std::vector<double>(slot_count + 1, infinity));
  std::ranges::fill(best[0], 0.0);
  const auto price = [&](std::size_t onset, std::size_t slot) {
    const double off =
        distance(shares[onset], static_cast<int>(slot) * step, division, long_share) /
        scatter_share;
    return off * off;
  };
  for (std::size_t n = 1; n <= onset_count; ++n) {
    for (std::size_t s = n; s <= slot_count; ++s) {
      best[n][s] = std::min(best[n][s - 1], best[n - 1][s - 1] + price(n - 1, s - 1));
    }
  }
  Fit found{best[onset_count][slot_count], std::vector<int>(onset_count)};
  std::size_t slot = slot_count;
  for (std::size_t n = onset_count; n > 0; --n) {
    while (slot > n && best[n][slot] == best[n][slot - 1]) --slot;
    --slot;
    found.tatums[n - 1] = static_cast<int>(slot) * step;
  }
  return found;
}

}  // namespace

QuantisedBeat quantise_beat(std::span<const double> shares, double beat_seconds,
                            double long_share) {
  QuantisedBeat written;
  if (shares.empty()) return written;
  shares = shares.first(std::min<std::size_t>(shares.size(), tatums_per_beat));
  const double scatter_share = onset_scatter_seconds(beat_seconds) / std::max(beat_seconds, 1e-3);
  double cheapest = std::numeric_limits<double>::infinity();
  for (const Candidate& candidate : candidates) {
    const Fit found = fit(shares, tatums_per_slot(candidate.division), candidate.division,
                          scatter_share, long_share);
    const double cost = found.cost + price_of(candidate, beat_seconds, long_share);
    if (cost < cheapest) {
      cheapest = cost;
      written = {candidate.division, found.tatums};
    }
  }
  if (written.onset_tatums.empty()) {
    // More than six onsets: each takes the nearest free twelfth.
    written = {Division::sixths,
               fit(shares, 1, Division::sixths, scatter_share, long_share).tatums};
  }
  return written;
}

std::optional<int> exact_tatums(double share, Division division, double long_share) {
  constexpr double exact = 0.012;
  const int step = tatums_per_slot(division);
  for (int tatums = 0; tatums <= tatums_per_beat; tatums += step) {
    const bool is_swung = division == Division::halves && tatums == step;
    const double slot = is_swung ? long_share : static_cast<double>(tatums) / tatums_per_beat;
    if (std::abs(share - slot) <= exact) return tatums;
  }
  return std::nullopt;
}

std::optional<Division> exact_division(std::span<const double> boundaries, double long_share) {
  for (const Candidate& candidate : candidates) {
    const bool holds_all = std::ranges::all_of(boundaries, [&](double share) {
      return exact_tatums(share, candidate.division, long_share).has_value();
    });
    if (holds_all) return candidate.division;
  }
  return std::nullopt;
}

int written_end(double sounded_tatums, int onset_tatums, Division division) noexcept {
  const bool is_ternary = division == Division::thirds || division == Division::sixths;
  const int unit = is_ternary ? tatums_per_beat / 3 : tatums_per_beat / 2;
  // A release a little after a slot still ends on it.
  constexpr double late_tatums = 2.0;
  int end = unit * static_cast<int>(std::ceil((sounded_tatums - late_tatums) / unit));
  while (end <= onset_tatums) end += unit;
  return end;
}

double straightened(double share, double long_share) noexcept {
  if (share <= long_share) return 0.5 * share / long_share;
  return 0.5 + 0.5 * (share - long_share) / (1.0 - long_share);
}

}  // namespace lowstride::sheet
