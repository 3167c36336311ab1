#include "dsp/harmony/key.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <vector>

#include "dsp/base/contracts.hpp"
#include "dsp/harmony/chord_priors.hpp"

namespace lowstride::dsp {
namespace {

constexpr double fewest_chord_seconds = 2.0;
constexpr double certainty = 24.0;    // of the softmax, per unit of mean belonging
constexpr double home_weight = 0.15;  // tunes end, and often begin, at home
constexpr std::size_t home_beats = 4;
constexpr std::size_t key_count = 24;
constexpr double key_change_price = 12.0;  // about 16 beats that belong much better elsewhere

/// Major and minor in turn, by rising tonic.
DecodedKey key_of(std::size_t index) { return {static_cast<int>(index / 2), index % 2 == 1, 0.0}; }

}  // namespace

std::optional<DecodedKey> estimate_key(const Table& posterior,
                                       std::span<const double> beat_seconds) {
  LOWSTRIDE_EXPECTS(posterior.row_count() == beat_seconds.size());
  std::vector<double> share(chord_column_count, 0.0);
  double total = 0.0;
  std::size_t first_chord = posterior.row_count();
  std::size_t last_chord = 0;
  for (std::size_t i = 0; i < posterior.row_count(); ++i) {
    const auto row = posterior.row(i);
    for (std::size_t c = 0; c < no_chord_column; ++c) {
      share[c] += static_cast<double>(row[c]) * beat_seconds[i];
      total += static_cast<double>(row[c]) * beat_seconds[i];
    }
    if (row[no_chord_column] < 0.5F) {
      first_chord = std::min(first_chord, i);
      last_chord = i;
    }
  }
  if (total < fewest_chord_seconds || first_chord == posterior.row_count()) return std::nullopt;

  const auto home_share = [&](std::size_t begin, std::size_t end, int tonic, bool is_minor) {
    double sum = 0.0;
    for (std::size_t i = begin; i < end; ++i) {
      for (std::size_t q = 0; q < chord_quality_count; ++q) {
        const auto column = static_cast<std::size_t>(tonic) * chord_quality_count + q;
        sum += posterior.row(i)[column] * key_log_ratio({tonic, is_minor, 0.0}, column);
      }
    }
    return sum / static_cast<double>(end - begin);
  };
  std::array<double, 24> score{};
  for (int tonic = 0; tonic < 12; ++tonic) {
    for (const bool is_minor : {false, true}) {
      double belonging = 0.0;
      for (std::size_t c = 0; c < no_chord_column; ++c) {
        belonging += share[c] / total * key_log_ratio({tonic, is_minor, 0.0}, c);
      }
      const std::size_t first_end = std::min(first_chord + home_beats, last_chord + 1);
      const std::size_t last_begin =
          std::max(first_chord, last_chord + 1 > home_beats ? last_chord + 1 - home_beats : 0);
      belonging += home_weight *
                   (home_share(first_chord, first_end, tonic, is_minor) +
                    home_share(last_begin, last_chord + 1, tonic, is_minor)) /
                   2.0;
      score[2 * static_cast<std::size_t>(tonic) + (is_minor ? 1U : 0U)] = belonging;
    }
  }
  const auto best = std::max_element(score.begin(), score.end());
  double sum = 0.0;
  for (const double value : score) sum += std::exp(certainty * (value - *best));
  const auto index = static_cast<int>(best - score.begin());
  return DecodedKey{index / 2, index % 2 == 1, 1.0 / sum};
}

std::vector<KeyStretch> key_stretches(const Table& posterior, std::span<const double> beat_seconds,
                                      int beats_per_bar) {
  const auto whole = estimate_key(posterior, beat_seconds);
  if (!whole) return {};
  const std::size_t count = posterior.row_count();
  std::array<std::array<double, no_chord_column>, key_count> belonging{};
  for (std::size_t k = 0; k < key_count; ++k) {
    for (std::size_t c = 0; c < no_chord_column; ++c) {
      belonging[k][c] = key_log_ratio(key_of(k), c);
    }
  }
  // Viterbi over 24 keys; each beat says how well its chord belongs.
  std::array<double, key_count> best{};
  std::vector<std::array<std::uint8_t, key_count>> from(count);
  for (std::size_t i = 0; i < count; ++i) {
    const auto top = std::max_element(best.begin(), best.end());
    const double leap = *top - key_change_price;
    const auto origin = static_cast<std::uint8_t>(top - best.begin());
    const auto row = posterior.row(i);
    for (std::size_t k = 0; k < key_count; ++k) {
      from[i][k] = best[k] >= leap ? static_cast<std::uint8_t>(k) : origin;
      best[k] = std::max(best[k], leap);
      for (std::size_t c = 0; c < no_chord_column; ++c) {
        if (row[c] > 0.01F) best[k] += static_cast<double>(row[c]) * belonging[k][c];
      }
    }
  }
  std::vector<std::uint8_t> path(count);
  auto key = static_cast<std::uint8_t>(std::max_element(best.begin(), best.end()) - best.begin());
  for (std::size_t i = count; i-- > 0;) {
    path[i] = key;
    key = from[i][key];
  }
  std::vector<KeyStretch> stretches;
  const auto shortest = 8 * static_cast<std::size_t>(beats_per_bar);
  for (std::size_t i = 0; i < count;) {
    std::size_t end = i;
    while (end < count && path[end] == path[i]) ++end;
    const bool is_known = !stretches.empty() && stretches.back().key.tonic_pc == path[i] / 2 &&
                          stretches.back().key.is_minor == (path[i] % 2 == 1);
    if (end - i >= shortest && !is_known) {
      Table part(0, posterior.column_count());
      for (std::size_t k = i; k < end; ++k) part.append(posterior.row(k));
      DecodedKey found = key_of(path[i]);
      const auto heard = estimate_key(part, beat_seconds.subspan(i, end - i));
      // The stretch on its own may be told otherwise; then it is not sure.
      const bool is_same =
          heard && heard->tonic_pc == found.tonic_pc && heard->is_minor == found.is_minor;
      found.confidence = is_same ? heard->confidence : 0.3;
      stretches.push_back({stretches.empty() ? 0 : i, found});
    }
    i = end;
  }
  if (stretches.size() < 2) return {{0, *whole}};
  return stretches;
}

}  // namespace lowstride::dsp
