#include "src/drill/history.hpp"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <map>
#include <system_error>

#include <fmt/format.h>

#include "src/drill/history_database.hpp"
#include "src/drill/sqlite.hpp"

namespace lowstride::drill {

using detail::Database;
using detail::Statement;
using detail::Transaction;

namespace {

// One script a version; a history of version n has run the first n of them. Never change one that
// has been released: append.
constexpr std::array<const char*, 4> migrations{
    "CREATE TABLE take (key TEXT PRIMARY KEY, path TEXT NOT NULL, title TEXT NOT NULL);"
    "CREATE TABLE item (key TEXT PRIMARY KEY, take_key TEXT NOT NULL, kind INTEGER NOT NULL,"
    " stability_days REAL NOT NULL, difficulty REAL NOT NULL, speed_step INTEGER NOT NULL,"
    " held_count INTEGER NOT NULL, answered_at INTEGER NOT NULL, due_at INTEGER NOT NULL,"
    " answer_count INTEGER NOT NULL, missed_count INTEGER NOT NULL);"
    "CREATE TABLE answer (id INTEGER PRIMARY KEY, item_key TEXT NOT NULL, take_key TEXT NOT NULL,"
    " kind INTEGER NOT NULL, answered_at INTEGER NOT NULL, grade INTEGER NOT NULL,"
    " days INTEGER NOT NULL, hint_count INTEGER NOT NULL, wrong_try_count INTEGER NOT NULL,"
    " thinking_seconds REAL NOT NULL, speed_ratio REAL NOT NULL, tempo_bpm REAL NOT NULL,"
    " share_right REAL NOT NULL, points REAL NOT NULL, heard TEXT NOT NULL, right TEXT NOT NULL,"
    " late_seconds REAL);"
    "CREATE INDEX answer_by_item ON answer (item_key, id);",
    "CREATE TABLE answer_note (answer_id INTEGER NOT NULL REFERENCES answer (id), beat REAL NOT "
    "NULL,"
    " mark INTEGER NOT NULL, right_midi INTEGER, heard_midi INTEGER, role INTEGER,"
    " interval_semitones INTEGER);"
    "CREATE INDEX answer_note_by_answer ON answer_note (answer_id);",
    "CREATE TABLE weight (place INTEGER PRIMARY KEY, value REAL NOT NULL);",
    "ALTER TABLE answer ADD COLUMN place TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE answer ADD COLUMN tune_key TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE answer ADD COLUMN first_share_right REAL;"
    "ALTER TABLE answer ADD COLUMN first_heard TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE answer_note ADD COLUMN is_first_try INTEGER NOT NULL DEFAULT 0;"
    "CREATE TABLE fit (id INTEGER PRIMARY KEY, fitted_at INTEGER NOT NULL,"
    " answer_count INTEGER NOT NULL, default_loss REAL NOT NULL, fitted_loss REAL NOT NULL,"
    " base_rate_loss REAL NOT NULL, is_adopted INTEGER NOT NULL);"};

Result<void> migrate(Database& database) {
  auto transaction = Transaction::begin(database);
  if (!transaction) return tl::unexpected(transaction.error());
  const auto version = database.number("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  const auto newest = static_cast<std::int64_t>(migrations.size());
  if (*version > newest) {
    return fail(
        ErrorCode::unsupported,
        fmt::format(
            "'{}' was written by a newer Lowstride (version {} of the history); update this one.",
            database.path().string(), *version));
  }
  for (auto i = static_cast<std::size_t>(std::max<std::int64_t>(0, *version));
       i < migrations.size(); ++i) {
    if (auto done = database.run(migrations[i]); !done) return done;
  }
  if (*version < newest) {
    if (auto done = database.run(fmt::format("PRAGMA user_version={}", newest)); !done) return done;
  }
  return transaction->commit();
}

Result<Database> open_database(const std::filesystem::path& path) {
  auto database = Database::open(path);
  if (!database) return database;
  if (auto done = migrate(*database); !done) return tl::unexpected(done.error());
  return database;
}

/// Renames a damaged database with its log. Gives its new name.
Result<std::filesystem::path> set_aside(const std::filesystem::path& path) {
  for (int number = 1; number < 10'000; ++number) {
    const std::filesystem::path target = path.string() + fmt::format(".damaged-{}", number);
    std::error_code error;
    if (std::filesystem::exists(std::filesystem::symlink_status(target, error))) continue;
    std::filesystem::rename(path, target, error);
    if (error) {
      return fail(ErrorCode::cannot_write,
                  fmt::format("'{}' is damaged and cannot be set aside ({}); move it away by hand.",
                              path.string(), error.message()));
    }
    for (const char* ending : {"-wal", "-shm"}) {
      std::filesystem::rename(path.string() + ending, target.string() + ending, error);
    }
    return target;
  }
  return fail(
      ErrorCode::cannot_write,
      fmt::format("Too many damaged histories beside '{}'; move them away.", path.string()));
}

ItemState state_from(const Statement& row) {
  ItemState state;
  state.key = row.text(0);
  state.take_key = row.text(1);
  state.kind = static_cast<Kind>(std::clamp<std::int64_t>(row.integer(2), 0, kind_count - 1));
  state.memory = {row.real(3), row.real(4)};
  state.speed_step = static_cast<int>(std::clamp<std::int64_t>(
      row.integer(5), 0, static_cast<std::int64_t>(speed_steps.size()) - 1));
  state.held_count = static_cast<int>(row.integer(6));
  state.answered_at = row.integer(7);
  state.due_at = row.integer(8);
  state.answer_count = static_cast<int>(row.integer(9));
  state.missed_count = static_cast<int>(row.integer(10));
  return state;
}

constexpr const char* state_columns =
    "SELECT key, take_key, kind, stability_days, difficulty, speed_step, held_count, answered_at,"
    " due_at, answer_count, missed_count FROM item";

Result<void> write_state(const Database& database, const ItemState& state) {
  auto insert = database.prepare("INSERT OR REPLACE INTO item VALUES (?,?,?,?,?,?,?,?,?,?,?)");
  if (!insert) return tl::unexpected(insert.error());
  insert->bind(state.key).bind(state.take_key).bind(static_cast<int>(state.kind));
  insert->bind(state.memory.stability_days).bind(state.memory.difficulty).bind(state.speed_step);
  insert->bind(state.held_count).bind(state.answered_at).bind(state.due_at);
  insert->bind(state.answer_count).bind(state.missed_count);
  return insert->finish();
}

template <typename Enum>
std::optional<int> number_of(const std::optional<Enum>& value) {
  if (!value) return std::nullopt;
  return static_cast<int>(*value);
}

Result<void> write_notes(const Database& database, std::int64_t answer_id,
                         const std::vector<NoteRecord>& notes, bool is_first_try) {
  auto insert = database.prepare("INSERT INTO answer_note VALUES (?,?,?,?,?,?,?,?)");
  if (!insert) return tl::unexpected(insert.error());
  for (const NoteRecord& note : notes) {
    insert->bind(answer_id).bind(note.beat).bind(static_cast<int>(note.mark)).bind(note.right_midi);
    insert->bind(note.heard_midi).bind(number_of(note.role)).bind(note.interval_semitones);
    insert->bind(is_first_try ? 1 : 0);
    if (auto done = insert->finish(); !done) return done;
  }
  return {};
}

Result<void> write_answer(const Database& database, const AnswerRecord& answer) {
  auto insert =
      database.prepare("INSERT INTO answer VALUES (NULL,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)");
  if (!insert) return tl::unexpected(insert.error());
  insert->bind(answer.item_key).bind(answer.take_key).bind(static_cast<int>(answer.kind));
  insert->bind(answer.answered_at).bind(static_cast<int>(answer.grade)).bind(answer.days);
  insert->bind(answer.hint_count).bind(answer.wrong_try_count).bind(answer.thinking_seconds);
  insert->bind(answer.speed_ratio).bind(answer.tempo_bpm).bind(answer.share_right);
  insert->bind(answer.points).bind(answer.heard).bind(answer.right).bind(answer.late_seconds);
  insert->bind(answer.place).bind(answer.tune_key);
  std::optional<double> first_share;
  if (answer.first_try) first_share = answer.first_try->share_right;
  insert->bind(first_share).bind(answer.first_try ? answer.first_try->heard : std::string());
  if (auto done = insert->finish(); !done) return done;
  const std::int64_t id = database.last_row_id();
  if (auto done = write_notes(database, id, answer.notes, false); !done) return done;
  return answer.first_try ? write_notes(database, id, answer.first_try->notes, true)
                          : Result<void>();
}

Result<std::optional<ItemState>> find_state(const Database& database, const std::string& key) {
  auto select = database.prepare(std::string(state_columns) + " WHERE key=?");
  if (!select) return tl::unexpected(select.error());
  select->bind(key);
  const auto row = select->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<ItemState>();
  return std::optional<ItemState>(state_from(*select));
}

Grade grade_from(std::int64_t number) {
  return static_cast<Grade>(std::clamp<std::int64_t>(number, 1, 4));
}

}  // namespace

History::History(std::unique_ptr<Inside> inside) noexcept : inside_(std::move(inside)) {}
History::History(History&&) noexcept = default;
History& History::operator=(History&&) noexcept = default;
History::~History() = default;

Result<History> History::open(const std::filesystem::path& path) {
  std::error_code error;
  std::filesystem::create_directories(path.parent_path(), error);
  auto inside = std::make_unique<Inside>();
  auto database = open_database(path);
  if (!database && database.error().code == ErrorCode::damaged) {
    const auto aside = set_aside(path);
    if (!aside) return tl::unexpected(aside.error());
    inside->messages.push_back(fmt::format(
        "The history '{}' was damaged; it lies untouched in '{}', and a new one begins.",
        path.string(), aside->filename().string()));
    database = open_database(path);
  }
  if (!database) return tl::unexpected(database.error());
  inside->database = std::move(*database);
  return History(std::move(inside));
}

const std::vector<std::string>& History::messages() const noexcept { return inside_->messages; }

Result<ItemState> History::record(const Item& item, AnswerRecord answer) {
  Database& database = inside_->database;
  const auto own_weights = weights();
  if (!own_weights) return tl::unexpected(own_weights.error());
  auto transaction = Transaction::begin(database);
  if (!transaction) return tl::unexpected(transaction.error());
  const auto before = find_state(database, item.key);
  if (!before) return tl::unexpected(before.error());
  answer.days = *before ? whole_days((*before)->answered_at, answer.answered_at) : 0;
  const ItemState state =
      after_answer(*before, item, *own_weights, answer.grade, answer.answered_at);
  if (auto done = write_answer(database, answer); !done) return tl::unexpected(done.error());
  if (auto done = write_state(database, state); !done) return tl::unexpected(done.error());
  if (auto done = transaction->commit(); !done) return tl::unexpected(done.error());
  return state;
}

Result<std::vector<ItemState>> History::states() const {
  auto select = inside_->database.prepare(std::string(state_columns) + " ORDER BY key");
  if (!select) return tl::unexpected(select.error());
  std::vector<ItemState> states;
  for (;;) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return states;
    states.push_back(state_from(*select));
  }
}

Result<std::vector<AnswerRecord>> History::answers() const {
  auto select = inside_->database.prepare(
      "SELECT id, item_key, take_key, kind, answered_at, grade, days, hint_count, wrong_try_count,"
      " thinking_seconds, speed_ratio, tempo_bpm, share_right, points, heard, right, late_seconds,"
      " place, tune_key, first_share_right, first_heard FROM answer ORDER BY id");
  if (!select) return tl::unexpected(select.error());
  std::vector<AnswerRecord> answers;
  std::map<std::int64_t, std::size_t> index_of;
  for (;;) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) break;
    AnswerRecord answer;
    index_of.emplace_hint(index_of.end(), select->integer(0), answers.size());
    answer.item_key = select->text(1);
    answer.take_key = select->text(2);
    answer.kind =
        static_cast<Kind>(std::clamp<std::int64_t>(select->integer(3), 0, kind_count - 1));
    answer.answered_at = select->integer(4);
    answer.grade = grade_from(select->integer(5));
    answer.days = static_cast<int>(select->integer(6));
    answer.hint_count = static_cast<int>(select->integer(7));
    answer.wrong_try_count = static_cast<int>(select->integer(8));
    answer.thinking_seconds = select->real(9);
    answer.speed_ratio = select->real(10);
    answer.tempo_bpm = select->real(11);
    answer.share_right = select->real(12);
    answer.points = select->real(13);
    answer.heard = select->text(14);
    answer.right = select->text(15);
    answer.late_seconds = select->maybe_real(16);
    answer.place = select->text(17);
    answer.tune_key = select->text(18);
    if (const auto share = select->maybe_real(19)) {
      answer.first_try = FirstTry{*share, select->text(20), {}};
    }
    answers.push_back(std::move(answer));
  }
  auto notes = inside_->database.prepare(
      "SELECT answer_id, beat, mark, right_midi, heard_midi, role, interval_semitones, is_first_try"
      " FROM answer_note ORDER BY rowid");
  if (!notes) return tl::unexpected(notes.error());
  for (;;) {
    const auto row = notes->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return answers;
    const auto at = index_of.find(notes->integer(0));
    if (at == index_of.end()) continue;
    NoteRecord note;
    note.beat = notes->real(1);
    note.mark = static_cast<Mark>(
        std::clamp<std::int64_t>(notes->integer(2), 0, static_cast<int>(Mark::extra)));
    note.right_midi = notes->maybe_integer(3);
    note.heard_midi = notes->maybe_integer(4);
    if (const auto role = notes->maybe_integer(5)) {
      note.role = static_cast<theory::Role>(
          std::clamp(*role, 0, static_cast<int>(theory::Role::dead_note)));
    }
    note.interval_semitones = notes->maybe_integer(6);
    AnswerRecord& answer = answers[at->second];
    const bool is_first_try = notes->integer(7) != 0 && answer.first_try;
    (is_first_try ? answer.first_try->notes : answer.notes).push_back(note);
  }
}

Result<std::vector<ItemHistory>> History::item_histories() const {
  auto select = inside_->database.prepare(
      "SELECT item_key, grade, days, answered_at FROM answer ORDER BY item_key, id");
  if (!select) return tl::unexpected(select.error());
  std::vector<ItemHistory> histories;
  std::optional<std::string> key;
  for (;;) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return histories;
    const std::string next = select->text(0);
    if (key != next) histories.emplace_back();
    key = next;
    histories.back().push_back({grade_from(select->integer(1)),
                                static_cast<int>(select->integer(2)),
                                static_cast<double>(select->integer(3))});
  }
}

Result<void> History::remember_take(const KnownTake& take) { return remember_takes({&take, 1}); }

Result<void> History::remember_takes(std::span<const KnownTake> takes) {
  auto transaction = Transaction::begin(inside_->database);
  if (!transaction) return tl::unexpected(transaction.error());
  auto insert = inside_->database.prepare("INSERT OR REPLACE INTO take VALUES (?,?,?)");
  if (!insert) return tl::unexpected(insert.error());
  for (const KnownTake& take : takes) {
    insert->bind(take.key).bind(take.path).bind(take.title);
    if (auto done = insert->finish(); !done) return done;
  }
  return transaction->commit();
}

Result<std::vector<KnownTake>> History::takes() const {
  auto select = inside_->database.prepare("SELECT key, path, title FROM take ORDER BY path");
  if (!select) return tl::unexpected(select.error());
  std::vector<KnownTake> takes;
  for (;;) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return takes;
    takes.push_back({select->text(0), select->text(1), select->text(2)});
  }
}

Result<Weights> History::weights() const {
  auto select = inside_->database.prepare("SELECT place, value FROM weight");
  if (!select) return tl::unexpected(select.error());
  Weights weights = default_weights;
  for (;;) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return weights;
    const std::int64_t place = select->integer(0);
    if (place < 0 || place >= static_cast<std::int64_t>(weight_count)) continue;
    const auto i = static_cast<std::size_t>(place);
    weights[i] = std::clamp(select->real(1), least_weights[i], most_weights[i]);
  }
}

Result<void> History::set_weights(const Weights& weights) {
  Database& database = inside_->database;
  auto transaction = Transaction::begin(database);
  if (!transaction) return tl::unexpected(transaction.error());
  auto insert = database.prepare("INSERT OR REPLACE INTO weight VALUES (?,?)");
  if (!insert) return tl::unexpected(insert.error());
  for (std::size_t i = 0; i < weight_count; ++i) {
    insert->bind(static_cast<int>(i)).bind(weights[i]);
    if (auto done = insert->finish(); !done) return done;
  }
  auto known = states();
  if (!known) return tl::unexpected(known.error());
  for (ItemState& state : *known) {
    auto answers = database.prepare("SELECT grade, days FROM answer WHERE item_key=? ORDER BY id");
    if (!answers) return tl::unexpected(answers.error());
    answers->bind(state.key);
    std::optional<Memory> memory;
    Grade last = Grade::missed;
    for (;;) {
      const auto row = answers->step();
      if (!row) return tl::unexpected(row.error());
      if (!*row) break;
      last = grade_from(answers->integer(0));
      memory = memory ? next_memory(weights, *memory, last, static_cast<int>(answers->integer(1)))
                      : first_memory(weights, last);
    }
    if (!memory) continue;
    state.memory = *memory;
    if (last != Grade::missed) {
      const int days =
          std::min(longest_interval_days, interval_days(weights, memory->stability_days));
      state.due_at = state.answered_at + UnixSeconds{86400} * days;
    }
    if (auto done = write_state(database, state); !done) return done;
  }
  return transaction->commit();
}

}  // namespace lowstride::drill
