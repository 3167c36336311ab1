#include "src/drill/fit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>

#include <nlopt.h>

#include "src/drill/dual.hpp"
#include "src/drill/memory_formulas.hpp"

namespace lowstride::drill {
namespace {

using Slope = detail::Dual<weight_count>;

/// Recall is never said to be quite certain, so that one surprise does not cost everything.
constexpr double surest = 0.9999;

double answer_loss(double recalled, bool is_right) {
  const double p = std::clamp(recalled, 1.0 - surest, surest);
  return -std::log(is_right ? p : 1.0 - p);
}

/// Calls `tell(recall, answer)` for each answer that counts.
template <typename Real, typename Tell>
void walk(const detail::WeightsOf<Real>& weights, const ItemHistory& history, const Tell& tell) {
  if (history.empty()) return;
  auto memory = detail::first_memory(weights, static_cast<int>(history.front().grade));
  for (std::size_t i = 1; i < history.size(); ++i) {
    const PastAnswer& answer = history[i];
    if (answer.days >= 1) tell(detail::recall(weights, memory.stability_days, answer.days), answer);
    memory = detail::next_memory(weights, memory, static_cast<int>(answer.grade), answer.days);
  }
}

/// What NLopt asks for: the sum of losses at `x`, and its gradient unless that is null.
struct Problem {
  std::span<const ItemHistory> histories;
  double answer_count = 1.0;

  static double loss(unsigned count, const double* x, double* gradient, void* self) {
    const auto& problem = *static_cast<const Problem*>(self);
    detail::WeightsOf<Slope> weights;
    for (unsigned i = 0; i < count; ++i) {
      weights[i] = Slope(x[i]);
      weights[i].slope[i] = 1.0;
    }
    double sum = 0.0;
    std::array<double, weight_count> slope{};
    for (const ItemHistory& history : problem.histories) {
      walk<Slope>(weights, history, [&](const Slope& recalled, const PastAnswer& answer) {
        const bool is_right = answer.grade != Grade::missed;
        sum += answer_loss(recalled.value, is_right);
        const double p = std::clamp(recalled.value, 1.0 - surest, surest);
        const double by_recall = is_right ? -1.0 / p : 1.0 / (1.0 - p);
        for (std::size_t i = 0; i < weight_count; ++i) slope[i] += by_recall * recalled.slope[i];
      });
    }
    if (gradient != nullptr) {
      for (std::size_t i = 0; i < weight_count; ++i) gradient[i] = slope[i] / problem.answer_count;
    }
    return sum / problem.answer_count;
  }
};

}  // namespace

std::size_t telling_answer_count(std::span<const ItemHistory> histories) noexcept {
  std::size_t count = 0;
  for (const ItemHistory& history : histories) {
    for (std::size_t i = 1; i < history.size(); ++i) count += history[i].days >= 1 ? 1U : 0U;
  }
  return count;
}

std::optional<Loss> log_loss_from(const Weights& weights, std::span<const ItemHistory> histories,
                                  double from_seconds) {
  Loss loss;
  double sum = 0.0;
  for (const ItemHistory& history : histories) {
    walk<double>(weights, history, [&](double recalled, const PastAnswer& answer) {
      if (answer.answered_at < from_seconds) return;
      sum += answer_loss(recalled, answer.grade != Grade::missed);
      ++loss.answer_count;
    });
  }
  if (loss.answer_count == 0) return std::nullopt;
  loss.mean = sum / static_cast<double>(loss.answer_count);
  return loss;
}

std::optional<Loss> log_loss(const Weights& weights, std::span<const ItemHistory> histories) {
  return log_loss_from(weights, histories, -std::numeric_limits<double>::infinity());
}

Weights most_likely_weights(std::span<const ItemHistory> histories) {
  Problem problem{histories,
                  static_cast<double>(std::max<std::size_t>(1, telling_answer_count(histories)))};
  const std::unique_ptr<nlopt_opt_s, void (*)(nlopt_opt)> climber(
      nlopt_create(NLOPT_LD_LBFGS, weight_count), nlopt_destroy);
  nlopt_set_min_objective(climber.get(), Problem::loss, &problem);
  nlopt_set_lower_bounds(climber.get(), least_weights.data());
  nlopt_set_upper_bounds(climber.get(), most_weights.data());
  nlopt_set_ftol_rel(climber.get(), 1e-6);
  nlopt_set_maxeval(climber.get(), 200);
  Weights best = default_weights;
  double loss = 0.0;
  const double before = Problem::loss(weight_count, best.data(), nullptr, &problem);
  const nlopt_result result = nlopt_optimize(climber.get(), best.data(), &loss);
  // A line search that gives up leaves the best point so far; only a worse one is refused.
  const bool is_usable =
      (result > 0 || result == NLOPT_ROUNDOFF_LIMITED || result == NLOPT_FAILURE) &&
      std::isfinite(loss) && Problem::loss(weight_count, best.data(), nullptr, &problem) <= before;
  return is_usable ? best : default_weights;
}

std::optional<FitReport> fit_weights(std::span<const ItemHistory> histories) {
  std::vector<double> times;
  for (const ItemHistory& history : histories) {
    for (std::size_t i = 1; i < history.size(); ++i) {
      if (history[i].days >= 1) times.push_back(history[i].answered_at);
    }
  }
  if (times.size() < fewest_answers_to_fit) return std::nullopt;
  std::sort(times.begin(), times.end());
  const double cut = times[times.size() * 4 / 5];

  std::vector<ItemHistory> earlier;
  double right = 1.0;  // a right and a wrong one are assumed, so that the rate is never 0 or 1
  double all = 2.0;
  for (const ItemHistory& history : histories) {
    ItemHistory kept;
    for (const PastAnswer& answer : history) {
      if (answer.answered_at >= cut) break;
      if (!kept.empty() && answer.days >= 1) {
        all += 1.0;
        right += answer.grade != Grade::missed ? 1.0 : 0.0;
      }
      kept.push_back(answer);
    }
    if (kept.size() > 1) earlier.push_back(std::move(kept));
  }

  FitReport report;
  report.fitted_answer_count = telling_answer_count(earlier);
  const Weights trial = most_likely_weights(earlier);
  const auto by_default = log_loss_from(default_weights, histories, cut);
  const auto by_trial = log_loss_from(trial, histories, cut);
  if (!by_default || !by_trial) return std::nullopt;
  report.judged_answer_count = by_default->answer_count;
  report.default_loss = by_default->mean;
  report.fitted_loss = by_trial->mean;
  double base = 0.0;
  for (const ItemHistory& history : histories) {
    for (std::size_t i = 1; i < history.size(); ++i) {
      if (history[i].days < 1 || history[i].answered_at < cut) continue;
      base += answer_loss(right / all, history[i].grade != Grade::missed);
    }
  }
  report.base_rate_loss = base / static_cast<double>(report.judged_answer_count);
  report.is_adopted = report.fitted_loss < report.default_loss;
  if (report.is_adopted) report.weights = most_likely_weights(histories);
  return report;
}

}  // namespace lowstride::drill
