#include "dsp/rhythm/bar_path.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

constexpr double irregular_bar = 3e-4;    // probability that a bar has a beat too few or too many
constexpr double three_four_share = 0.1;  // of trio recordings: 90 of 1,294 (REFERENCES, section f)
constexpr double activation_floor = 0.02;
constexpr double activation_weight = 0.25;         // bars of one recording go wrong together
constexpr double start_odds = 12.0;                // that music begins on a one: four in five
constexpr double change_weight = 0.5;              // the activation has heard the chords already
constexpr std::size_t longest_count_in_beats = 9;  // two bars of four and a stray click
constexpr double music_threshold = 0.4;

using Row = std::array<double, 5>;  // by position in the bar; the last one is an added beat

/// Likelihood of a witness at each position of a bar of `meter` beats.
Row likelihood(const BeatWitness& witness, int meter) {
  const double activation = std::clamp(witness.downbeat, activation_floor, 1.0 - activation_floor);
  // How usual a chord change is on each beat; on half bars more than on weak beats.
  const auto change = [&](double usual) {
    const double c = std::clamp(witness.chord_change, 0.0, 1.0);
    return std::pow(c * usual + (1.0 - c) * (1.0 - usual), change_weight);
  };
  const double one = std::pow(activation, activation_weight);
  const double other = std::pow(1.0 - activation, activation_weight);
  Row row{};
  row[0] = one * change(0.6);
  for (std::size_t position = 1; position < row.size(); ++position) {
    const bool is_half_bar = meter == 4 && position == 2;
    row[position] = other * change(is_half_bar ? 0.25 : 0.08);
  }
  return row;
}

struct MeterReading {
  double log_likelihood = 0.0;
  std::vector<int> path;       // position of each beat
  std::vector<Row> posterior;  // of each position
};

class MeterModel {
 public:
  MeterModel(std::span<const BeatWitness> witnesses, int meter, std::optional<std::size_t> first,
             std::size_t music)
      : meter_(static_cast<std::size_t>(meter)), witnesses_(witnesses) {
    for (std::size_t i = 0; i < witnesses.size(); ++i) {
      Row row = likelihood(witnesses[i], meter);
      if (meter_ == 3) row[4] = 0.0;
      if (i == music) row[0] *= start_odds;
      if (first == i) std::fill(row.begin() + 1, row.end(), 0.0);
      likelihood_.push_back(row);
    }
    const double regular = 1.0 - 2.0 * irregular_bar;
    for (std::size_t from = 0; from + 1 < meter_; ++from) move_[from][from + 1] = 1.0;
    // A bar may end a beat early, or have one beat more.
    move_[meter_ - 2][0] = irregular_bar;
    move_[meter_ - 2][meter_ - 1] = 1.0 - irregular_bar;
    move_[meter_ - 1][0] = regular + irregular_bar;
    move_[meter_ - 1][meter_] = irregular_bar;
    move_[meter_][0] = 1.0;
  }

  [[nodiscard]] MeterReading read() const {
    MeterReading reading;
    const std::size_t count = witnesses_.size();
    const std::size_t states = meter_ + 1;
    std::vector<Row> forward(count);
    std::vector<Row> best(count);
    std::vector<std::array<int, 5>> from(count);
    for (std::size_t i = 0; i < count; ++i) {
      double sum = 0.0;
      double largest = 0.0;
      for (std::size_t s = 0; s < states; ++s) {
        double total = 0.0;
        double strongest = 0.0;
        if (i == 0) {
          total = strongest = s < meter_ ? 1.0 / static_cast<double>(meter_) : 0.0;
        } else {
          for (std::size_t r = 0; r < states; ++r) {
            total += forward[i - 1][r] * move_[r][s];
            const double step = best[i - 1][r] * move_[r][s];
            if (step > strongest) {
              strongest = step;
              from[i][s] = static_cast<int>(r);
            }
          }
        }
        forward[i][s] = total * likelihood_[i][s];
        best[i][s] = strongest * likelihood_[i][s];
        sum += forward[i][s];
        largest = std::max(largest, best[i][s]);
      }
      if (sum <= 0.0 || largest <= 0.0) return {-1e300, {}, {}};
      for (std::size_t s = 0; s < states; ++s) {
        forward[i][s] /= sum;
        best[i][s] /= largest;
      }
      reading.log_likelihood += std::log(sum);
    }
    reading.path.resize(count);
    auto state = static_cast<int>(
        std::max_element(best.back().begin(), best.back().begin() + static_cast<long>(states)) -
        best.back().begin());
    for (std::size_t i = count; i-- > 0;) {
      reading.path[i] = state;
      state = from[i][static_cast<std::size_t>(state)];
    }
    reading.posterior = backward(forward);
    return reading;
  }

 private:
  [[nodiscard]] std::vector<Row> backward(const std::vector<Row>& forward) const {
    const std::size_t states = meter_ + 1;
    std::vector<Row> posterior(forward.size());
    Row later{};
    std::fill(later.begin(), later.end(), 1.0);
    for (std::size_t i = forward.size(); i-- > 0;) {
      double sum = 0.0;
      for (std::size_t s = 0; s < states; ++s) {
        posterior[i][s] = forward[i][s] * later[s];
        sum += posterior[i][s];
      }
      for (double& value : posterior[i]) value /= sum;
      Row earlier{};
      double scale = 0.0;
      for (std::size_t r = 0; r < states; ++r) {
        for (std::size_t s = 0; s < states; ++s) {
          earlier[r] += move_[r][s] * likelihood_[i][s] * later[s];
        }
        scale += earlier[r];
      }
      for (std::size_t r = 0; r < states; ++r) later[r] = scale > 0.0 ? earlier[r] / scale : 0.0;
    }
    return posterior;
  }

  std::size_t meter_;
  std::span<const BeatWitness> witnesses_;
  std::vector<Row> likelihood_;
  std::array<Row, 5> move_{};
};

/// The first beat from which music sounds; 0 when that is not near the beginning.
std::size_t first_music(std::span<const BeatWitness> witnesses) {
  const std::size_t limit = std::min(witnesses.size(), longest_count_in_beats);
  for (std::size_t i = 0; i < limit; ++i) {
    if (witnesses[i].music >= music_threshold) return i;
  }
  return 0;
}

}  // namespace

BarReading find_bars(std::span<const BeatWitness> witnesses, const BarOptions& options) {
  LOWSTRIDE_EXPECTS(!options.first_beat || *options.first_beat < witnesses.size());
  BarReading result;
  if (witnesses.empty()) {
    result.beats_per_bar = options.beats_per_bar.value_or(4);
    return result;
  }
  const std::size_t music = first_music(witnesses);
  MeterReading best;
  double best_score = -1e301;
  for (const int meter : {4, 3}) {
    if (options.beats_per_bar && *options.beats_per_bar != meter) continue;
    auto reading = MeterModel(witnesses, meter, options.first_beat, music).read();
    const double score =
        reading.log_likelihood + std::log(meter == 3 ? three_four_share : 1.0 - three_four_share);
    if (score > best_score && !reading.path.empty()) {
      best_score = score;
      best = std::move(reading);
      result.beats_per_bar = meter;
    }
  }
  std::size_t first = options.first_beat.value_or(music);
  while (first < best.path.size() && best.path[first] != 0) ++first;
  int bar = 1;
  if (first < best.path.size()) {
    for (std::size_t i = 0; i <= first; ++i) bar -= best.path[i] == 0 ? 1 : 0;
  } else {
    bar = 0;  // not one full bar
  }
  for (std::size_t i = 0; i < best.path.size(); ++i) {
    if (best.path[i] == 0) ++bar;
    result.beats.push_back(
        {bar, best.path[i] + 1, best.posterior[i][static_cast<std::size_t>(best.path[i])]});
  }
  return result;
}

}  // namespace lowstride::dsp
