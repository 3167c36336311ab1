#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/drill/answer.hpp"
#include "src/drill/fit.hpp"
#include "src/drill/schedule.hpp"

namespace lowstride::drill {

/// One note of an answer as it is kept: enough for every plot without the take.
struct NoteRecord {
  double beat = 0.0;
  Mark mark = Mark::open;
  std::optional<int> right_midi;
  std::optional<int> heard_midi;
  std::optional<theory::Role> role;
  std::optional<int> interval_semitones;

  bool operator==(const NoteRecord&) const = default;
};

/// A wrong try that another followed. Its marks were a hint, so that this is what was really heard.
struct FirstTry {
  double share_right = 0.0;
  std::string heard;
  std::vector<NoteRecord> notes;

  bool operator==(const FirstTry&) const = default;
};

/// An answer as it is kept.
struct AnswerRecord {
  std::string item_key;
  std::string take_key;
  Kind kind = Kind::find_the_note;
  UnixSeconds answered_at = 0;
  Grade grade = Grade::missed;
  int days = 0;  // since the answer before to the same item; filled in by `record`
  int hint_count = 0;
  int wrong_try_count = 0;
  double thinking_seconds = 0.0;
  double speed_ratio = 1.0;
  double tempo_bpm = 0.0;  // of the music at its own speed
  double share_right = 0.0;
  double points = 0.0;
  std::string heard;
  std::string right;
  std::optional<double> late_seconds;
  std::vector<NoteRecord> notes;
  std::optional<FirstTry> first_try;  // nothing where the first try is the answer
  std::string place;                  // for people: "bar 5, beat 3"; empty in old histories
  std::string tune_key;               // as theory::key_text writes it; empty where none is known

  /// What was heard before any mark helped.
  [[nodiscard]] const std::vector<NoteRecord>& first_notes() const noexcept {
    return first_try ? first_try->notes : notes;
  }
  [[nodiscard]] const std::string& first_heard() const noexcept {
    return first_try ? first_try->heard : heard;
  }

  bool operator==(const AnswerRecord&) const = default;
};

/// A take that was drilled, and where it was then.
struct KnownTake {
  std::string key;
  std::string path;
  std::string title;

  bool operator==(const KnownTake&) const = default;
};

/// What a verdict leaves in the history; `first_try` is that on a wrong try before it.
[[nodiscard]] AnswerRecord record_of(const Item& item, const Verdict& verdict, const Effort& effort,
                                     Grade grade, double speed_ratio, UnixSeconds now,
                                     const std::optional<Verdict>& first_try = std::nullopt);

/// Where a player's history lies: $XDG_DATA_HOME/lowstride/PLAYER.history, ~/.local/share without
/// that variable. Errors: invalid_argument (a name with '/' in it, empty, over 60 bytes), not_found
/// (neither variable nor home).
[[nodiscard]] Result<std::filesystem::path> history_path(std::string_view player);

/// Players that have a history, in order.
[[nodiscard]] std::vector<std::string> known_players();

/// A player's answers and what they mean for each item: a SQLite database with a write-ahead log.
/// Every `record` is one transaction, on the disk when it returns; several processes may work on
/// one history at once. One object per thread.
class History {
 public:
  /// Opens or makes a history and brings an older one up to date. A damaged file is renamed to
  /// NAME.damaged-N, never written over, and a new history begun; `messages` says so. Errors:
  /// cannot_write (folder), unsupported (written by a newer version), conflict (busy for longer
  /// than 10 s).
  [[nodiscard]] static Result<History> open(const std::filesystem::path& path);

  History(History&&) noexcept;
  History& operator=(History&&) noexcept;
  ~History();

  [[nodiscard]] const std::vector<std::string>& messages() const noexcept;

  /// Keeps an answer and moves its item's state, which is read afresh inside the transaction, by
  /// the player's weights. Gives the new state. Errors: cannot_write, conflict, damaged.
  [[nodiscard]] Result<ItemState> record(const Item& item, AnswerRecord answer);

  [[nodiscard]] Result<std::vector<ItemState>> states() const;
  /// All answers, oldest first, with their notes.
  [[nodiscard]] Result<std::vector<AnswerRecord>> answers() const;
  /// The same as `fit_weights` wants them.
  [[nodiscard]] Result<std::vector<ItemHistory>> item_histories() const;

  [[nodiscard]] Result<void> remember_take(const KnownTake& take);
  /// Many takes at once: all of them or none.
  [[nodiscard]] Result<void> remember_takes(std::span<const KnownTake> takes);
  [[nodiscard]] Result<std::vector<KnownTake>> takes() const;

  /// The player's own weights once they were fitted, else the defaults.
  [[nodiscard]] Result<Weights> weights() const;
  /// Keeps fitted weights and works every item's memory out anew from its answers.
  [[nodiscard]] Result<void> set_weights(const Weights& weights);

  /// Fits the memory model to this history when it has enough answers and a quarter more (100 at
  /// least) than at the last fit, and keeps the weights that come of it: those fitted, or, where
  /// they gained nothing on later answers, the defaults. Nothing when it is not yet time.
  [[nodiscard]] Result<std::optional<FitReport>> fit_when_due(UnixSeconds now);
  /// The same at once, whatever was fitted before. Nothing when there are too few answers.
  [[nodiscard]] Result<std::optional<FitReport>> fit_now(UnixSeconds now);

  /// Every answer as comma-separated values (RFC 4180), times in UTC (ISO 8601), with a heading.
  /// Errors: cannot_write.
  [[nodiscard]] Result<void> export_csv(const std::filesystem::path& path) const;

 private:
  struct Inside;
  explicit History(std::unique_ptr<Inside> inside) noexcept;
  std::unique_ptr<Inside> inside_;
};

}  // namespace lowstride::drill
