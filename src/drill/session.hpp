#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/drill/answer.hpp"
#include "src/drill/history.hpp"
#include "src/drill/item.hpp"
#include "src/drill/item_book.hpp"
#include "src/drill/schedule.hpp"
#include "src/drill/sound.hpp"

namespace lowstride::drill {

struct SessionOptions {
  double length_minutes = 15.0;
  double rest_after_minutes = 20.0;  // a rest is proposed then, and again after as long
  bool has_warm_up = true;           // one quiet listening first
  int listen_every = 6;              // answers between two stretches that are only listened to
  int most_new = 12;                 // new items begun in a session
  int tries = 2;                     // answers to one item, the marks of the first being a hint
  double fade_in_seconds = 1.5;      // of the first sound, and after a rest
  std::uint32_t seed = 1;
};

/// A moment by two clocks: the calendar's, for dates, and one that only runs on, for thinking times
/// and the length of the session.
struct Moment {
  UnixSeconds unix_seconds = 0;
  double steady_seconds = 0.0;
};

enum class Phase : std::uint8_t {
  listening,  // nothing is asked; `go_on` leads on
  asking,     // an answer, a hint or another hearing is awaited
  feedback,   // the item is done; `go_on` leads on
  resting,    // a rest is proposed; `go_on` leads on
  done,
};

/// What happens next, for a terminal or a window to show and sound. `says` are sentences or lines,
/// in order; sounds follow each other without a word between.
struct Turn {
  Phase phase = Phase::done;
  std::vector<std::string> says;
  std::vector<SoundOrder> sounds;
  std::optional<Verdict> verdict;   // after an answer
  std::optional<Grade> grade;       // when the item is done
  std::optional<std::string> lost;  // an answer could not be kept: why
};

/// Keeps an answer and gives the item's new state: `History::record`, or a test's list.
using Recorder = std::function<Result<ItemState>(const Item&, const AnswerRecord&)>;

struct SessionSummary {
  int item_count = 0;
  int right_count = 0;
  int new_count = 0;
  double points = 0.0;
  double minutes = 0.0;
};

/// A drill session as a small machine: it is given moments and answers, and says what to sound and
/// say. It reads no clock, draws nothing, plays nothing. Every finished item is recorded before its
/// feedback is returned, so that an interrupted session loses none. Answers come before feedback,
/// hints on request only; while something sounds nothing is said (Paney, Psychology of Music,
/// 2014), and listening without a task alternates with tasks (Little, Cheng & Wright, 2019).
class Session {
 public:
  /// `states` of items that are not in the book are ignored. An item that can no longer be made is
  /// passed over; where its take cannot be read, the turn says why.
  Session(ItemBook book, const std::vector<ItemState>& states, const Weights& weights,
          const SessionOptions& options, Recorder recorder);
  Session(Session&&) noexcept = default;
  Session& operator=(Session&&) noexcept = default;
  ~Session() = default;

  [[nodiscard]] Turn begin(const Moment& now);
  /// Requires phase `asking` and an answer that `fits` the item.
  [[nodiscard]] Turn answer(const Answer& answer, const Moment& now);
  /// The next hint on the item; says so when there is none left. Requires phase `asking`.
  [[nodiscard]] Turn hint(const Moment& now);
  /// The item's sounds once more; costs nothing. Requires phase `asking`.
  [[nodiscard]] Turn hear_again(const Moment& now);
  [[nodiscard]] Turn go_on(const Moment& now);
  /// Ends the session; what was answered is kept already.
  [[nodiscard]] Turn stop(const Moment& now);

  [[nodiscard]] Phase phase() const noexcept { return phase_; }
  /// The item that is asked, or was last. Requires phase `asking` or `feedback`.
  [[nodiscard]] const Item& item() const;
  [[nodiscard]] double speed_ratio() const noexcept;
  /// How often the item was answered before: the seed of its variation.
  [[nodiscard]] int variation_seed() const noexcept;
  /// Ends the time of listening earlier or later than the sounds' lengths say: thinking begins now.
  void sound_ended(const Moment& now) noexcept { sound_end_seconds_ = now.steady_seconds; }
  [[nodiscard]] const SessionSummary& summary() const noexcept { return summary_; }
  /// Items due at a moment, and ones never asked.
  [[nodiscard]] std::size_t due_count(UnixSeconds now) const noexcept;
  [[nodiscard]] std::size_t new_item_count() const noexcept;

 private:
  Turn ask_next(const Moment& now);
  Turn listen(const Moment& now, std::size_t index, const Item& item, const std::string& why);
  std::optional<std::size_t> next_item(Item& item, std::vector<std::string>& says);
  Turn finish(const Moment& now);
  Turn give_feedback(Turn turn, const Verdict& verdict, const Moment& now);
  [[nodiscard]] std::vector<SoundOrder> question_sounds();
  [[nodiscard]] std::string question_text() const;
  void await_sounds(Turn& turn, const Moment& now);

  ItemBook book_;
  std::deque<ItemState> states_;  // the candidates point into it: it only grows
  std::vector<Candidate> candidates_;
  Weights weights_;
  SessionOptions options_;
  Recorder recorder_;
  ChoiceContext context_{};
  Phase phase_ = Phase::done;
  std::size_t current_ = 0;
  Item item_;  // the current one
  Effort effort_;
  std::optional<Verdict> first_try_;  // the wrong one before the answer
  int hint_step_ = 0;
  std::size_t hint_note_ = 0;  // the first note that is not right yet
  double began_seconds_ = 0.0;
  double rested_seconds_ = 0.0;
  double sound_end_seconds_ = 0.0;
  bool fades_in_ = true;
  int since_listening_ = 0;
  SessionSummary summary_;
};

/// The usual words on hearing and hands, to be said at a session's start: short sentences.
[[nodiscard]] const std::vector<std::string>& care_words();

}  // namespace lowstride::drill
