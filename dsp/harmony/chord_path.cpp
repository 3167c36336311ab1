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
    for (std::size_t i = 0; i < beats_.size(); ++i) {
      changed_.push_back(score(i, true));
      stayed_.push_back(score(i, false));
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
    Row best = changed_[0];
    for (std::size_t i = 1; i < beats_.size(); ++i) {
      const auto change = static_cast<float>(price(i));
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
        strongest += changed_[i][to] - change;
        const float going_on = best[to] + stayed_[i][to];
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

  /// exp(sureness (row − its largest value)), so that sums neither overflow nor vanish.
  [[nodiscard]] Row odds(const Row& row, float largest) const {
    const auto sureness = static_cast<float>(options_.sureness);
    Row result{};
    for (std::size_t c = 0; c < count; ++c) result[c] = std::exp(sureness * (row[c] - largest));
    return result;
  }
  static void scale_to_sum(Row& row) {
    float sum = 0.0F;
    for (const float value : row) sum += value;
    for (float& value : row) value /= sum;
  }

  [[nodiscard]] Table probabilities() const {
    const std::size_t length = beats_.size();
    std::vector<Row> forward(length);
    std::vector<Row> change_odds(length);
    std::vector<Row> stay_odds(length);
    for (std::size_t i = 0; i < length; ++i) {
      const float largest = std::max(*std::max_element(changed_[i].begin(), changed_[i].end()),
                                     *std::max_element(stayed_[i].begin(), stayed_[i].end()));
      change_odds[i] = odds(changed_[i], largest);
      stay_odds[i] = odds(stayed_[i], largest);
      const auto change = static_cast<float>(std::exp(-options_.sureness * price(i)));
      if (i == 0) {
        forward[0] = change_odds[0];
      } else {
        for (std::size_t to = 0; to < count; ++to) {
          float sum = 0.0F;
          const float* step = step_odds_.data() + to * count;
          for (std::size_t c = 0; c < count; ++c) sum += forward[i - 1][c] * step[c];
          forward[i][to] = (sum - forward[i - 1][to] * step[to]) * change * change_odds[i][to] +
                           forward[i - 1][to] * stay_odds[i][to];
        }
      }
      for (float& value : forward[i]) value = std::max(value, 0.0F) + 1e-30F;
      scale_to_sum(forward[i]);
    }
    Table posterior(length, count);
    Row later{};
    later.fill(1.0F);
    for (std::size_t i = length; i-- > 0;) {
      Row row{};
      for (std::size_t c = 0; c < count; ++c) row[c] = forward[i][c] * later[c];
      scale_to_sum(row);
      std::copy(row.begin(), row.end(), posterior.row(i).begin());
      if (i == 0) break;
      const auto change = static_cast<float>(std::exp(-options_.sureness * price(i)));
      Row earlier{};
      for (std::size_t to = 0; to < count; ++to) {
        const float begun = later[to] * change_odds[i][to] * change;
        const float* step = step_odds_.data() + to * count;
        for (std::size_t c = 0; c < count; ++c) earlier[c] += begun * step[c];
        earlier[to] += later[to] * stay_odds[i][to] - begun * step[to];
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
  std::vector<Row> changed_, stayed_;    // [beat]: score when the chord begins here, or goes on
};

}  // namespace

ChordPath find_chords(const Table& emission, std::span<const ChordBeat> beats,
                      const ChordPathOptions& options) {
  LOWSTRIDE_EXPECTS(emission.row_count() == beats.size());
  return ChordSearch(emission, beats, options).read();
}

}  // namespace lowstride::dsp
