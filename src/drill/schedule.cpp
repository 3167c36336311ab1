#include "src/drill/schedule.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace lowstride::drill {
namespace {

constexpr UnixSeconds day_seconds = 86400;
constexpr int right_answers_to_speed_up = 2;

/// What makes a candidate wait, in units of recall probability: kinds and takes alternate unless
/// one is far likelier forgotten; the same few bars are kept apart more.
constexpr double same_kind = 0.15;
constexpr double same_take = 0.05;
constexpr double same_place = 0.3;
constexpr std::size_t places_remembered = 3;

double waiting(const Candidate& candidate, std::span<const Candidate> candidates,
               const ChoiceContext& context) {
  double wait = 0.0;
  const std::size_t count = context.asked.size();
  for (std::size_t back = 1; back <= std::min(places_remembered, count); ++back) {
    const Candidate& other = candidates[context.asked[count - back]];
    const double weight = 1.0 / static_cast<double>(back);
    if (other.kind == candidate.kind) wait += same_kind * weight;
    if (other.take_index == candidate.take_index) wait += same_take * weight;
    if (other.take_index == candidate.take_index &&
        other.place_samples == candidate.place_samples) {
      wait += same_place * weight;
    }
  }
  return wait;
}

/// A number in 0..1 that only seed and index decide (finaliser of MurmurHash3, Appleby).
double lot(std::uint32_t seed, std::size_t index) {
  std::uint32_t h = seed + static_cast<std::uint32_t>(index) * 2654435769U;
  h = (h ^ (h >> 16U)) * 0x85ebca6bU;
  h = (h ^ (h >> 13U)) * 0xc2b2ae35U;
  return static_cast<double>(h ^ (h >> 16U)) / 4294967296.0;
}

}  // namespace

int whole_days(UnixSeconds from, UnixSeconds to) noexcept {
  if (to <= from) return 0;
  // A clock gone astray by centuries still gives a number that fits.
  return static_cast<int>(
      std::min<UnixSeconds>((to - from + day_seconds / 2) / day_seconds, 36500));
}

ItemState after_answer(const std::optional<ItemState>& before, const Item& item,
                       const Weights& weights, Grade grade, UnixSeconds now) {
  ItemState state = before.value_or(ItemState{});
  state.key = item.key;
  state.take_key = item.take_key;
  state.kind = item.kind;
  state.memory =
      before ? next_memory(weights, before->memory, grade, whole_days(before->answered_at, now))
             : first_memory(weights, grade);
  ++state.answer_count;
  if (grade == Grade::missed) {
    ++state.missed_count;
    state.held_count = 0;
    state.speed_step = std::max(0, state.speed_step - 1);
    state.due_at = now + missed_again_seconds;
  } else {
    state.held_count = grade >= Grade::slow ? state.held_count + 1 : 0;
    if (state.held_count >= right_answers_to_speed_up &&
        state.speed_step + 1 < static_cast<int>(speed_steps.size())) {
      ++state.speed_step;
      state.held_count = 0;
    }
    const int days =
        std::min(longest_interval_days, interval_days(weights, state.memory.stability_days));
    state.due_at = now + days * day_seconds;
  }
  state.answered_at = now;
  return state;
}

bool is_due(const ItemState& state, UnixSeconds now) noexcept {
  if (state.due_at - state.answered_at < day_seconds / 2) {
    return state.due_at <= now || state.answered_at > now;
  }
  return state.due_at - day_seconds / 2 <= now ||
         state.due_at - now > (longest_interval_days + 1) * day_seconds;
}

std::optional<std::size_t> choose_next(std::span<const Candidate> candidates,
                                       const Weights& weights, const ChoiceContext& context) {
  std::optional<std::size_t> due;
  std::optional<std::size_t> fresh;
  double due_score = std::numeric_limits<double>::infinity();
  double fresh_score = std::numeric_limits<double>::infinity();
  const auto is_recent = [&](std::size_t index) {
    const std::size_t count = context.asked.size();
    const std::size_t back = std::min(places_remembered, count);
    return std::find(context.asked.end() - static_cast<std::ptrdiff_t>(back), context.asked.end(),
                     index) != context.asked.end();
  };
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    const Candidate& candidate = candidates[i];
    if (candidate.is_gone || is_recent(i)) continue;
    double score = waiting(candidate, candidates, context) + 1e-3 * lot(context.seed, i);
    if (!candidate.state) {
      if (score < fresh_score) {
        fresh_score = score;
        fresh = i;
      }
      continue;
    }
    const bool was_asked_now =
        std::find(context.asked.begin(), context.asked.end(), i) != context.asked.end();
    // Missed in this session: it comes back however few minutes have passed.
    const bool comes_back =
        was_asked_now &&
        candidate.state->due_at - candidate.state->answered_at <= missed_again_seconds;
    if (!comes_back && !is_due(*candidate.state, context.now)) continue;
    const double days =
        static_cast<double>(std::max<UnixSeconds>(0, context.now - candidate.state->answered_at)) /
        static_cast<double>(day_seconds);
    if (comes_back) score -= 1.0;
    score += recall_probability(weights, candidate.state->memory.stability_days, days);
    if (score < due_score) {
      due_score = score;
      due = i;
    }
  }
  const bool may_begin = fresh && context.new_count < context.most_new;
  if (due && may_begin) return context.asked.size() % 3 == 2 ? fresh : due;
  if (due) return due;
  return may_begin ? fresh : std::nullopt;
}

}  // namespace lowstride::drill
