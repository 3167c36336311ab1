#include "dsp/harmony/chord_path.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "dsp/base/contracts.hpp"
#include "dsp/harmony/chord_priors.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t count = chord_column_count;
constexpr float impossible = -1e9F;
using Row = std::array<float, count>;

/// How much dearer a change is than on the downbeat.
double change_factor(int beat_in_bar, int beats_per_bar) {
  if (beat_in_bar == 1) return 1.0;
  if (beats_per_bar == 4 && beat_in_bar == 3) return 1.3;
  return 2.0;
}

class ChordSearch {
 public:
  ChordSearch(const Table& emission, std::span<const ChordBeat> beats,
              const ChordPathOptions& options)
      : emission_(emission), beats_(beats), options_(options), step_(count * count) {
    for (std::size_t to = 0; to < count; ++to) {
      const double key = options.key ? options.key_weight * options.key->confidence *
                                           key_log_ratio(*options.key, to)
                                     : 0.0;
      for (std::size_t from = 0; from < count; ++from) {
        step_[to * count + from] =
            static_cast<float>(options.progression_weight * progression_log_ratio(from, to) + key);
      }
    }
    step_odds_.resize(step_.size());
    const auto sureness = static_cast<float>(options_.sureness);
    std::transform(step_.begin(), step_.end(), step_odds_.begin(),
                   [sureness](float value) { return std::exp(sureness * value); });
  }

  [[nodiscard]] ChordPath read() {
    ChordPath path;
    if (beats_.empty()) {
      path.posterior = Table(0, count);
      return path;
    }
    path.columns = best_path();
    path.posterior = probabilities();
    return path;
  }

 private:
  [[nodiscard]] double price(std::size_t i) const {
    return options_.change_price * change_factor(beats_[i].beat_in_bar, options_.beats_per_bar);
  }

  /// Emission of beat i with the bass weighed in, when the chord begins here or goes on.
  [[nodiscard]] Row score(std::size_t i, bool is_change) const {
    Row row{};
    const auto& beat = beats_[i];
    const auto emission = emission_.row(i);
    for (std::size_t c = 0; c < count; ++c) {
      double value = emission[c];
      if (beat.bass_pc && c != no_chord_column) {
        const int degree = (*beat.bass_pc - column_root(c) + 12) % 12;
        value += options_.bass_weight * bass_degree_log_ratio(column_quality(c), degree, is_change);
      }
      if (beat.fixed_column && *beat.fixed_column != c) value = impossible;
      row[c] = static_cast<float>(value);
    }
    return row;
  }

  [[nodiscard]] std::vector<std::size_t> best_path() const {
    std::vector<std::array<std::uint8_t, count>> from(beats_.size());
    Row best = score(0, true);
    for (std::size_t i = 1; i < beats_.size(); ++i) {
      const auto change = static_cast<float>(price(i));
      const Row changed = score(i, true);
      const Row stayed = score(i, false);
      Row next{};
      for (std::size_t to = 0; to < count; ++to) {
        float strongest = -std::numeric_limits<float>::infinity();
        std::size_t origin = 0;
        const float* step = step_.data() + to * count;
        for (std::size_t c = 0; c < count; ++c) {
          const float value = best[c] + step[c];
          if (value > strongest) {
            strongest = value;
            origin = c;
          }
        }
        strongest += changed[to] - change;
        const float going_on = best[to] + stayed[to];
        if (going_on >= strongest) {
          strongest = going_on;
          origin = to;
        }
        next[to] = strongest;
        from[i][to] = static_cast<std::uint8_t>(origin);
      }
      best = next;
    }
    std::vector<std::size_t> path(beats_.size());
    auto column =
        static_cast<std::size_t>(std::max_element(best.begin(), best.end()) - best.begin());
    for (std::size_t i = beats_.size(); i-- > 0;) {
      path[i] = column;
      column = from[i][column];
    }
    return path;
  }

  struct Odds {
    Row changed, stayed;
  };
  /// exp(sureness (scores of beat i − their largest)), so that sums neither overflow nor vanish.
  [[nodiscard]] Odds odds(std::size_t i) const {
    const auto sureness = static_cast<float>(options_.sureness);
    Odds result{score(i, true), score(i, false)};
    const float largest = std::max(*std::ranges::max_element(result.changed),
                                   *std::ranges::max_element(result.stayed));
    for (Row* row : {&result.changed, &result.stayed}) {
      for (float& value : *row) value = std::exp(sureness * (value - largest));
    }
    return result;
  }
  static void scale_to_sum(std::span<float> row) {
    float sum = 0.0F;
    for (const float value : row) sum += value;
    for (float& value : row) value /= sum;
  }

  [[nodiscard]] Table probabilities() const {
    const std::size_t length = beats_.size();
    Table posterior(length, count);  // forward at first
    Row forward{};
    for (std::size_t i = 0; i < length; ++i) {
      const Odds now = odds(i);
      const auto change = static_cast<float>(std::exp(-options_.sureness * price(i)));
      if (i == 0) {
        forward = now.changed;
      } else {
        const Row before = forward;
        for (std::size_t to = 0; to < count; ++to) {
          float sum = 0.0F;
          const float* step = step_odds_.data() + to * count;
          for (std::size_t c = 0; c < count; ++c) sum += before[c] * step[c];
          forward[to] = (sum - before[to] * step[to]) * change * now.changed[to] +
                        before[to] * now.stayed[to];
        }
      }
      for (float& value : forward) value = std::max(value, 0.0F) + 1e-30F;
      scale_to_sum(forward);
      std::ranges::copy(forward, posterior.row(i).begin());
    }
    Row later{};
    later.fill(1.0F);
    for (std::size_t i = length; i-- > 0;) {
      const auto row = posterior.row(i);
      for (std::size_t c = 0; c < count; ++c) row[c] *= later[c];
      scale_to_sum(row);
      if (i == 0) break;
      const Odds now = odds(i);
      const auto change = static_cast<float>(std::exp(-options_.sureness * price(i)));
      Row earlier{};
      for (std::size_t to = 0; to < count; ++to) {
        const float begun = later[to] * now.changed[to] * change;
        const float* step = step_odds_.data() + to * count;
        for (std::size_t c = 0; c < count; ++c) earlier[c] += begun * step[c];
        earlier[to] += later[to] * now.stayed[to] - begun * step[to];
      }
      for (float& value : earlier) value = std::max(value, 0.0F) + 1e-30F;
      scale_to_sum(earlier);
      later = earlier;
    }
    return posterior;
  }

  const Table& emission_;
  std::span<const ChordBeat> beats_;
  const ChordPathOptions& options_;
  std::vector<float> step_, step_odds_;  // [to][from]: priors of a change, log and plain
};

}  // namespace

ChordPath find_chords(const Table& emission, std::span<const ChordBeat> beats,
                      const ChordPathOptions& options) {
  LOWSTRIDE_EXPECTS(emission.row_count() == beats.size());
  return ChordSearch(emission, beats, options).read();
}

}  // namespace lowstride::dsp
