#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "src/drill/memory.hpp"

namespace lowstride::drill {

/// One answer in the life of an item. `days` since the one before, whole; 0 for the first.
struct PastAnswer {
  Grade grade = Grade::missed;
  int days = 0;
  double answered_at = 0.0;  // seconds; orders answers across items

  bool operator==(const PastAnswer&) const = default;
};

/// All answers to one item, oldest first.
using ItemHistory = std::vector<PastAnswer>;

/// Ranges that fitted weights stay in: those of the published optimiser of FSRS-6 (from memory).
inline constexpr Weights least_weights{0.001, 0.001, 0.001, 0.001, 1.0,   0.001, 0.001,
                                       0.001, 0.0,   0.0,   0.001, 0.001, 0.001, 0.001,
                                       0.0,   0.0,   1.0,   0.0,   0.0,   0.0,   0.1};
inline constexpr Weights most_weights{100.0, 100.0, 100.0, 100.0, 10.0, 4.0,  4.0,
                                      0.75,  4.5,   0.8,   3.5,   5.0,  0.25, 0.9,
                                      4.0,   1.0,   6.0,   2.0,   2.0,  0.8,  0.8};

/// Mean log loss (natural logarithm) of the model's recall against what happened (missed or not),
/// over answers given a day or more after the one before. Nothing when there is none.
struct Loss {
  double mean = 0.0;
  std::size_t answer_count = 0;
};
[[nodiscard]] std::optional<Loss> log_loss(const Weights& weights,
                                           std::span<const ItemHistory> histories);

/// The same over answers given at or after a moment only; the ones before still move the memory.
[[nodiscard]] std::optional<Loss> log_loss_from(const Weights& weights,
                                                std::span<const ItemHistory> histories,
                                                double from_seconds);

/// Answers that tell something about memory: given a day or more after the one before.
[[nodiscard]] std::size_t telling_answer_count(std::span<const ItemHistory> histories) noexcept;

/// Fewer answers that tell something (a day or more after the last) are not fitted to.
inline constexpr std::size_t fewest_answers_to_fit = 400;

/// What fitting gained, told on answers that it had not seen: the weights in `trial` are fitted to
/// the earlier four fifths of the answers and judged on the later fifth.
struct FitReport {
  Weights weights = default_weights;  // for use: fitted to everything if `is_adopted`, else default
  bool is_adopted = false;            // the trial beat the defaults on the later fifth
  std::size_t fitted_answer_count = 0;
  std::size_t judged_answer_count = 0;
  double default_loss = 0.0;  // mean log loss on the later fifth
  double fitted_loss = 0.0;
  double base_rate_loss = 0.0;  // of always saying the share of right answers of the earlier part
};

/// Weights by maximum likelihood for one player: the log likelihood of all answers a day or more
/// after the one before, with its exact gradient (numbers that carry derivatives), climbed from
/// the default weights within the published ranges by L-BFGS (Nocedal, Math. Comp. 35, 1980; NLopt
/// library). Nothing when there are fewer than `fewest_answers_to_fit` answers that count.
/// Deterministic. About a second for 10,000 answers.
[[nodiscard]] std::optional<FitReport> fit_weights(std::span<const ItemHistory> histories);

/// The climbing alone, without a judgement on unseen answers; for measurements.
[[nodiscard]] Weights most_likely_weights(std::span<const ItemHistory> histories);

}  // namespace lowstride::drill
