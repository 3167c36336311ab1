#include "src/drill/memory.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "src/drill/schedule.hpp"

namespace lowstride::drill {
namespace {

// Published check series of FSRS-6 at its default weights: every answer "good" (here: slow), asked
// when recall has fallen to 0.9. Intervals in whole days, before any cap.
TEST(Memory, reproduces_the_published_series_of_intervals) {
  Memory memory = first_memory(default_weights, Grade::slow);
  std::vector<int> intervals;
  for (int i = 0; i < 6; ++i) {
    intervals.push_back(interval_days(default_weights, memory.stability_days));
    memory = next_memory(default_weights, memory, Grade::slow, intervals.back());
  }
  EXPECT_EQ(intervals, (std::vector<int>{2, 11, 46, 163, 497, 1346}));
}

// The test case of the reference implementation py-fsrs 6 ("test_memo_state"; values from memory):
// again, then good five times after 0, 1, 3, 8 and 21 days.
TEST(Memory, reproduces_the_reference_implementations_test_case) {
  Memory memory = first_memory(default_weights, Grade::missed);
  for (const int days : {0, 1, 3, 8, 21}) {
    memory = next_memory(default_weights, memory, Grade::slow, days);
  }
  EXPECT_NEAR(memory.stability_days, 53.62691, 1e-4);
  EXPECT_NEAR(memory.difficulty, 6.3574867, 1e-4);
}

TEST(Memory, first_answers_follow_the_published_formulas_value_by_value) {
  // S0 = w[g-1]; D0 = w4 - e^(w5 (g-1)) + 1, within 1..10.
  const double stability[] = {0.212, 1.2931, 2.3065, 8.2956};
  for (int grade = 1; grade <= 4; ++grade) {
    const Memory memory = first_memory(default_weights, static_cast<Grade>(grade));
    EXPECT_DOUBLE_EQ(memory.stability_days, stability[grade - 1]);
    const double difficulty = 6.4133 - std::exp(0.8334 * (grade - 1)) + 1.0;
    EXPECT_NEAR(memory.difficulty, std::max(1.0, difficulty), 1e-12) << grade;
  }
}

TEST(Memory, recall_is_nine_tenths_after_the_stability_and_falls_as_a_power) {
  EXPECT_NEAR(recall_probability(default_weights, 7.0, 7.0), 0.9, 1e-12);
  EXPECT_DOUBLE_EQ(recall_probability(default_weights, 7.0, 0.0), 1.0);
  // (1 + F t/S)^(-w20), F = 0.9^(-1/w20) - 1 = 0.98035: at t = 10 S that is 10.8035^-0.1542.
  EXPECT_NEAR(recall_probability(default_weights, 7.0, 70.0), std::pow(10.80346, -0.1542), 1e-6);
  EXPECT_DOUBLE_EQ(recall_probability(default_weights, 7.0, -3.0), 1.0);
}

TEST(Memory, one_answer_by_hand) {
  const Weights& w = default_weights;
  const Memory before{10.0, 5.0};
  // Ten days at S = 10: R = 0.9.
  const double gain =
      std::exp(1.8722) * 6.0 * std::pow(10.0, -0.1666) * (std::exp(0.796 * 0.1) - 1.0);
  EXPECT_NEAR(next_memory(w, before, Grade::slow, 10).stability_days, 10.0 * (1.0 + gain), 1e-9);
  EXPECT_NEAR(next_memory(w, before, Grade::with_hints, 10).stability_days,
              10.0 * (1.0 + 0.6014 * gain), 1e-9);
  EXPECT_NEAR(next_memory(w, before, Grade::at_once, 10).stability_days,
              10.0 * (1.0 + 1.8729 * gain), 1e-9);
  const double lapse =
      1.4835 * std::pow(5.0, -0.0614) * (std::pow(11.0, 0.2629) - 1.0) * std::exp(1.6483 * 0.1);
  EXPECT_NEAR(next_memory(w, before, Grade::missed, 10).stability_days, lapse, 1e-9);
  // The same day: S e^(w17 (g-3+w18)) S^(-w19), never less for a good answer.
  const double same_day = 10.0 * std::exp(0.5425 * (-1.0 + 0.0912)) * std::pow(10.0, -0.0658);
  EXPECT_NEAR(next_memory(w, before, Grade::with_hints, 0).stability_days, same_day, 1e-9);
  EXPECT_GE(next_memory(w, before, Grade::slow, 0).stability_days, 10.0);
  // D' = w7 D0(4) + (1-w7)(D - w6 (g-3)(10-D)/9); D0(4) is not brought into 1..10.
  const double easy = 6.4133 - std::exp(0.8334 * 3.0) + 1.0;
  const double harder = 5.0 + 3.0194 * 2.0 * 5.0 / 9.0;
  EXPECT_NEAR(next_memory(w, before, Grade::missed, 10).difficulty, 0.001 * easy + 0.999 * harder,
              1e-9);
}

TEST(Memory, a_lapse_never_lengthens_what_was_short) {
  for (int i = 0; i < 18; ++i) {
    const double s = 0.01 * std::pow(1.7, i);
    for (int j = 0; j < 7; ++j) {
      const double d = 1.0 + 1.5 * j;
      EXPECT_LE(next_memory(default_weights, {s, d}, Grade::missed, 5).stability_days, s);
      EXPECT_GE(next_memory(default_weights, {s, d}, Grade::slow, 5).stability_days, s);
    }
  }
}

Item item_called(const std::string& key) {
  Item item;
  item.key = key;
  item.beat_samples = {0, 1, 2};
  return item;
}

constexpr UnixSeconds day = 86400;

TEST(Schedule, no_interval_is_longer_than_sixty_days) {
  const Item item = item_called("a");
  std::optional<ItemState> state;
  UnixSeconds now = 1'700'000'000;
  for (int i = 0; i < 12; ++i) {
    state = after_answer(state, item, default_weights, Grade::slow, now);
    EXPECT_LE(state->due_at - now, 60 * day);
    now = state->due_at;
  }
  EXPECT_EQ(state->due_at - state->answered_at, 60 * day);
  EXPECT_GT(state->memory.stability_days, 300.0);
}

TEST(Schedule, what_holds_comes_back_faster_and_what_fails_slower) {
  const Item item = item_called("a");
  auto state = after_answer(std::nullopt, item, default_weights, Grade::slow, 0);
  EXPECT_EQ(state.speed_step, first_speed_step);
  state = after_answer(state, item, default_weights, Grade::at_once, 3 * day);
  EXPECT_EQ(state.speed_step, first_speed_step + 1);
  state = after_answer(state, item, default_weights, Grade::with_hints, 9 * day);
  state = after_answer(state, item, default_weights, Grade::slow, 12 * day);
  EXPECT_EQ(state.speed_step, first_speed_step + 1) << "help starts the count again";
  state = after_answer(state, item, default_weights, Grade::missed, 20 * day);
  EXPECT_EQ(state.speed_step, first_speed_step);
  EXPECT_EQ(state.due_at, 20 * day + missed_again_seconds);
}

TEST(Schedule, a_clock_that_went_wrong_locks_nothing_away) {
  const Item item = item_called("a");
  // Answered while the clock stood ten years ahead.
  const UnixSeconds now = 1'700'000'000;
  auto state = after_answer(std::nullopt, item, default_weights, Grade::slow, now + 3650 * day);
  EXPECT_TRUE(is_due(state, now));
  // The next answer comes earlier than the last: the same day, as far as anyone can tell.
  state = after_answer(state, item, default_weights, Grade::slow, now);
  EXPECT_EQ(state.answered_at, now);
  EXPECT_TRUE(std::isfinite(state.memory.stability_days));
  EXPECT_FALSE(is_due(state, now));
  EXPECT_TRUE(is_due(state, now + 3 * day));
  EXPECT_EQ(whole_days(now, now - 5), 0);
}

TEST(Schedule, due_dates_know_no_time_zone_and_no_summer_time) {
  // Middle European summer time ended on 2026-10-25 at 01:00 UTC (EU directive 2000/84/EC): the
  // evening after, by the wall clock a day later, is 25 hours later.
  const UnixSeconds evening = 1792868400;  // 2026-10-24 19:00 UTC, 21:00 on the wall
  for (const char* zone : {"UTC", "Europe/Berlin", "Pacific/Auckland"}) {
    ::setenv("TZ", zone, 1);
    ::tzset();
    EXPECT_EQ(whole_days(evening, evening + 25 * 3600), 1);
    EXPECT_EQ(whole_days(evening, evening + 23 * 3600), 1);
    const auto state =
        after_answer(std::nullopt, item_called("a"), default_weights, Grade::with_hints, evening);
    EXPECT_EQ(state.due_at, evening + day);
    EXPECT_TRUE(is_due(state, evening + 23 * 3600)) << "the same hour, a day later by the wall";
    EXPECT_FALSE(is_due(state, evening + 2 * 3600));
  }
  ::unsetenv("TZ");
  ::tzset();
}

TEST(Schedule, kinds_and_takes_are_interleaved) {
  std::vector<Candidate> candidates;
  for (std::size_t i = 0; i < 60; ++i) {
    Candidate candidate;
    candidate.kind = static_cast<Kind>(i / 20);
    candidate.take_index = static_cast<std::uint32_t>(i % 2);
    candidate.place_samples = static_cast<std::int64_t>(i / 2);
    candidates.push_back(candidate);
  }
  const ItemState asked =
      after_answer(std::nullopt, item_called("a"), default_weights, Grade::slow, 0);
  ChoiceContext context;
  context.most_new = 30;
  int same_kind = 0;
  for (int i = 0; i < 30; ++i) {
    const auto next = choose_next(candidates, default_weights, context);
    ASSERT_TRUE(next);
    if (!context.asked.empty() && candidates[context.asked.back()].kind == candidates[*next].kind)
      ++same_kind;
    context.asked.push_back(*next);
    ++context.new_count;
    candidates[*next].state = &asked;
  }
  EXPECT_EQ(same_kind, 0);
  EXPECT_FALSE(choose_next(candidates, default_weights, context))
      << "as many new ones as were asked for";
}

TEST(Schedule, the_likeliest_forgotten_comes_first_and_missed_ones_come_back) {
  std::vector<Candidate> candidates(6);
  std::vector<ItemState> states(6);
  for (std::size_t i = 0; i < 6; ++i) {
    candidates[i].kind = static_cast<Kind>(i);
    candidates[i].place_samples = static_cast<std::int64_t>(i);
    states[i] = after_answer(std::nullopt, item_called("a"), default_weights, Grade::slow, 0);
    candidates[i].state = &states[i];
  }
  states[4].answered_at = -200 * day;
  ChoiceContext context;
  context.now = 4 * day;
  const auto first = choose_next(candidates, default_weights, context);
  ASSERT_EQ(first, 4U);
  context.asked.push_back(4);
  states[4] =
      after_answer(states[4], item_called("a"), default_weights, Grade::missed, context.now);
  std::vector<std::size_t> order;
  for (int i = 0; i < 4; ++i) {
    const auto next = choose_next(candidates, default_weights, context);
    ASSERT_TRUE(next);
    order.push_back(*next);
    context.asked.push_back(*next);
    if (*next != 4)
      states[*next] =
          after_answer(states[*next], item_called("a"), default_weights, Grade::slow, context.now);
  }
  EXPECT_NE(order[0], 4U);
  EXPECT_NE(order[1], 4U);
  EXPECT_NE(order[2], 4U);
  EXPECT_EQ(order[3], 4U) << "after three others";
}

}  // namespace
}  // namespace lowstride::drill
