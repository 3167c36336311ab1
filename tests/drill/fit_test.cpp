#include "src/drill/fit.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "src/drill/schedule.hpp"

namespace lowstride::drill {
namespace {

/// A learner after another published law than the model's own, the predictive performance equation
/// (Walsh, Gluck, Gunzelmann, Jastrzembski & Krusmark, Cognitive Science 42, 2018; form from
/// memory): strength M = N^c T^-d is a power of practice and of time, T the mean age of the
/// exposures weighted by age^-x, the decay d = b + m * mean(1 / ln(lag + e)) smaller the wider
/// the exposures were spaced; recall is logistic in M. Rate b and threshold differ from item to
/// item.
class PowerLearner {
 public:
  PowerLearner(std::mt19937& random) : random_(random) {
    std::lognormal_distribution<double> rate(std::log(0.10), 0.5);
    std::normal_distribution<double> threshold(0.40, 0.08);
    b_ = rate(random);
    threshold_ = threshold(random);
  }

  /// Answers at a moment (days) and learns from it.
  Grade answer(double day) {
    double p = 0.35;  // of what was never heard before
    if (!times_.empty()) p = 1.0 / (1.0 + std::exp((threshold_ - strength(day)) / 0.06));
    times_.push_back(day);
    std::uniform_real_distribution<double> lot(0.0, 1.0);
    if (lot(random_) >= p) return Grade::missed;
    const double ease = lot(random_) * p;
    return ease > 0.75 ? Grade::at_once : ease > 0.25 ? Grade::slow : Grade::with_hints;
  }

 private:
  [[nodiscard]] double strength(double day) const {
    const double x = 0.6;
    double weight_sum = 0.0;
    double age = 0.0;
    for (const double time : times_) {
      const double old = std::max(0.01, day - time);
      const double weight = std::pow(old, -x);
      weight_sum += weight;
      age += weight * old;
    }
    double spacing = 0.0;
    for (std::size_t i = 1; i < times_.size(); ++i) {
      spacing += 1.0 / std::log(std::max(0.0, times_[i] - times_[i - 1]) + std::exp(1.0));
    }
    if (times_.size() > 1)
      spacing /= static_cast<double>(times_.size() - 1);
    else
      spacing = 1.0;
    const double decay = b_ + 0.10 * spacing;
    return std::pow(static_cast<double>(times_.size()), 0.1) *
           std::pow(std::max(1.0, age / weight_sum), -decay);
  }

  std::mt19937& random_;
  double b_ = 0.1;
  double threshold_ = 0.4;
  std::vector<double> times_;
};

struct Course {
  std::vector<ItemHistory> histories;
  std::vector<PastAnswer> in_time;  // every answer that counts, in order of time
  std::vector<int> rungs;           // of the ladder, for each of those
};

constexpr int ladder_days[] = {1, 2, 4, 8, 16, 32, 60};

/// Some 5,000 answers over items that are begun little by little and come back by the schedule of
/// this program at its default weights, up to three days late as players are.
Course course_of(std::uint32_t seed) {
  std::mt19937 random(seed);
  struct Learned {
    PowerLearner learner;
    Memory memory;
    int rung = 0;
    double last = 0.0;
    double due = 0.0;
    ItemHistory history;
  };
  std::vector<Learned> items;
  Course course;
  std::size_t count = 0;
  std::uniform_int_distribution<int> late(0, 3);
  for (int day = 0; count < 5000; ++day) {
    for (int i = 0; i < 3; ++i)
      items.push_back({PowerLearner(random), {}, 0, 0.0, static_cast<double>(day), {}});
    for (Learned& item : items) {
      if (item.due > day) continue;
      const bool is_first = item.history.empty();
      const int days = is_first ? 0 : static_cast<int>(std::lround(day - item.last));
      const PastAnswer answer{item.learner.answer(day), days, day * 86400.0};
      item.history.push_back(answer);
      ++count;
      if (!is_first) {
        course.in_time.push_back(answer);
        course.rungs.push_back(item.rung);
      }
      item.memory = is_first ? first_memory(default_weights, answer.grade)
                             : next_memory(default_weights, item.memory, answer.grade, days);
      item.rung = answer.grade == Grade::missed ? 0 : std::min(6, item.rung + 1);
      item.last = day;
      item.due = day + std::min(60, interval_days(default_weights, item.memory.stability_days)) +
                 late(random);
    }
  }
  for (Learned& item : items) {
    if (!item.history.empty()) course.histories.push_back(std::move(item.history));
  }
  return course;
}

double loss_of(double p, bool is_right) {
  p = std::clamp(p, 1e-4, 1.0 - 1e-4);
  return -std::log(is_right ? p : 1.0 - p);
}

TEST(Fit, gradient_climbs_to_the_weights_that_made_the_answers) {
  // Answers drawn from the model itself at other weights: the fitted ones must explain fresh
  // answers as well as the true ones do, and better than the defaults.
  Weights truth = default_weights;
  truth[0] = 1.0;
  truth[2] = 5.0;
  truth[8] = 1.2;
  truth[20] = 0.4;
  std::mt19937 random(7);
  std::uniform_real_distribution<double> lot(0.0, 1.0);
  const auto draw = [&](int item_count) {
    std::vector<ItemHistory> histories;
    for (int i = 0; i < item_count; ++i) {
      ItemHistory history{{lot(random) < 0.5 ? Grade::missed : Grade::slow, 0, 0.0}};
      Memory memory = first_memory(truth, history.front().grade);
      for (int k = 0; k < 6; ++k) {
        const int days = 1 + static_cast<int>(memory.stability_days * 2.0 * lot(random));
        const bool is_right = lot(random) < recall_probability(truth, memory.stability_days, days);
        history.push_back({is_right ? Grade::slow : Grade::missed, days, 0.0});
        memory = next_memory(truth, memory, history.back().grade, days);
      }
      histories.push_back(history);
    }
    return histories;
  };
  const auto practised = draw(900);
  const auto fresh = draw(900);
  const Weights fitted = most_likely_weights(practised);
  EXPECT_LT(log_loss(fitted, practised)->mean, log_loss(truth, practised)->mean + 1e-4)
      << "the likeliest weights are likelier than the true ones";
  EXPECT_LT(log_loss(fitted, fresh)->mean, log_loss(truth, fresh)->mean + 0.01);
  EXPECT_LT(log_loss(fitted, fresh)->mean, log_loss(default_weights, fresh)->mean - 0.005);
}

TEST(Fit, too_few_answers_are_not_fitted_to) {
  EXPECT_FALSE(fit_weights({}));
  EXPECT_FALSE(log_loss(default_weights, {}));
  const std::vector<ItemHistory> one(100,
                                     ItemHistory{{Grade::slow, 0, 0.0}, {Grade::slow, 3, 1.0}});
  EXPECT_FALSE(fit_weights(one));
}

TEST(Fit, absurd_histories_give_finite_weights) {
  for (const Grade grade : {Grade::missed, Grade::at_once}) {
    std::vector<ItemHistory> histories;
    for (int i = 0; i < 300; ++i) {
      ItemHistory history;
      for (int k = 0; k < 4; ++k)
        history.push_back({grade, k == 0 ? 0 : 1 + i % 5000, 86400.0 * (k * 5000 + i)});
      histories.push_back(history);
    }
    const auto report = fit_weights(histories);
    ASSERT_TRUE(report);
    for (std::size_t i = 0; i < weight_count; ++i) {
      EXPECT_GE(report->weights[i], least_weights[i]);
      EXPECT_LE(report->weights[i], most_weights[i]);
    }
    EXPECT_TRUE(std::isfinite(report->fitted_loss));
  }
}

// Twenty learners of 5,000 answers each. The model is fitted to the first half of a course and
// judged on the second. Against it: the running share of right answers, and a fixed ladder of
// intervals, both as the ladder means it (0.9 after its interval, forgetting as exp) and with the
// running share of right answers on each rung.
TEST(Fit, predicts_learners_of_another_law_better_than_base_rate_and_ladder) {
  double fitted_sum = 0.0;
  double default_sum = 0.0;
  double base_sum = 0.0;
  double ladder_sum = 0.0;
  double rung_sum = 0.0;
  constexpr int seeds = 20;
  for (std::uint32_t seed = 1; seed <= seeds; ++seed) {
    const Course course = course_of(seed);
    const std::size_t half = course.in_time.size() / 2;
    const double cut = course.in_time[half].answered_at;
    std::vector<ItemHistory> earlier;
    for (const ItemHistory& history : course.histories) {
      ItemHistory kept;
      for (const PastAnswer& answer : history) {
        if (answer.answered_at < cut) kept.push_back(answer);
      }
      if (kept.size() > 1) earlier.push_back(kept);
    }
    fitted_sum += log_loss_from(most_likely_weights(earlier), course.histories, cut)->mean;
    default_sum += log_loss_from(default_weights, course.histories, cut)->mean;
    double right = 1.0;
    double all = 2.0;
    std::vector<double> rung_right(7, 1.0);
    std::vector<double> rung_all(7, 2.0);
    double base = 0.0;
    double ladder = 0.0;
    double rung_loss = 0.0;
    double judged = 0.0;
    for (std::size_t i = 0; i < course.in_time.size(); ++i) {
      const PastAnswer& answer = course.in_time[i];
      const bool is_right = answer.grade != Grade::missed;
      const auto rung = static_cast<std::size_t>(course.rungs[i]);
      if (answer.answered_at >= cut) {
        judged += 1.0;
        base += loss_of(right / all, is_right);
        ladder +=
            loss_of(std::pow(0.9, static_cast<double>(answer.days) / ladder_days[rung]), is_right);
        rung_loss += loss_of(rung_right[rung] / rung_all[rung], is_right);
      }
      all += 1.0;
      rung_all[rung] += 1.0;
      right += is_right ? 1.0 : 0.0;
      rung_right[rung] += is_right ? 1.0 : 0.0;
    }
    base_sum += base / judged;
    ladder_sum += ladder / judged;
    rung_sum += rung_loss / judged;
  }
  std::printf(
      "mean log loss over %d learners: fitted %.4f, default %.4f, base rate %.4f, ladder %.4f, "
      "ladder by rung %.4f\n",
      seeds, fitted_sum / seeds, default_sum / seeds, base_sum / seeds, ladder_sum / seeds,
      rung_sum / seeds);
  EXPECT_LT(fitted_sum, base_sum);
  EXPECT_LT(fitted_sum, ladder_sum);
  EXPECT_LT(fitted_sum, rung_sum);
}

}  // namespace
}  // namespace lowstride::drill
