#include <algorithm>

#include "src/drill/history.hpp"
#include "src/drill/history_database.hpp"

namespace lowstride::drill {

namespace {

constexpr std::int64_t fewest_answers_more = 100;  // than at the last fit; and a quarter of those

}  // namespace

Result<std::optional<FitReport>> History::fit_when_due(UnixSeconds now) {
  const auto histories = item_histories();
  if (!histories) return tl::unexpected(histories.error());
  const auto count = static_cast<std::int64_t>(telling_answer_count(*histories));
  const auto last = inside_->database.number("SELECT COALESCE(MAX(answer_count),0) FROM fit");
  if (!last) return tl::unexpected(last.error());
  const bool has_grown = *last == 0 || count >= *last + std::max(fewest_answers_more, *last / 4);
  if (count < static_cast<std::int64_t>(fewest_answers_to_fit) || !has_grown) {
    return std::optional<FitReport>();
  }
  return fit_now(now);
}

Result<std::optional<FitReport>> History::fit_now(UnixSeconds now) {
  const auto histories = item_histories();
  if (!histories) return tl::unexpected(histories.error());
  std::optional<FitReport> report = fit_weights(*histories);
  if (!report) return report;
  if (auto kept = set_weights(report->weights); !kept) return tl::unexpected(kept.error());
  auto insert = inside_->database.prepare("INSERT INTO fit VALUES (NULL,?,?,?,?,?,?)");
  if (!insert) return tl::unexpected(insert.error());
  insert->bind(now).bind(static_cast<std::int64_t>(telling_answer_count(*histories)));
  insert->bind(report->default_loss);
  insert->bind(report->fitted_loss).bind(report->base_rate_loss).bind(report->is_adopted ? 1 : 0);
  if (auto done = insert->finish(); !done) return tl::unexpected(done.error());
  return report;
}

}  // namespace lowstride::drill
