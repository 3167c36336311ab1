#include "src/drill/sqlite.hpp"

#include <sqlite3.h>

#include <fmt/format.h>

namespace lowstride::drill::detail {

void Database::Close::operator()(sqlite3* handle) const noexcept { sqlite3_close_v2(handle); }

void Statement::Finalize::operator()(sqlite3_stmt* handle) const noexcept {
  sqlite3_finalize(handle);
}

Error Database::error(int code) const {
  const std::string name = path_.string();
  switch (code & 0xFF) {
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
      return {ErrorCode::damaged,
              fmt::format("'{}' is damaged; begin again, and it will be set aside.", name)};
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {ErrorCode::conflict,
              fmt::format("'{}' is busy in another program; close that, then try again.", name)};
    case SQLITE_FULL:
      return {ErrorCode::cannot_write,
              fmt::format("'{}' cannot be written: the disk is full; make room, then try again.",
                          name)};
    default:
      return {ErrorCode::cannot_write, fmt::format("'{}' cannot be used ({}); look at its folder's "
                                                   "permissions, or point XDG_DATA_HOME elsewhere.",
                                                   name, sqlite3_errstr(code))};
  }
}

namespace {

Result<void> check_whole(const Database& database) {
  auto check = database.prepare("PRAGMA quick_check(1)");
  if (!check) return tl::unexpected(check.error());
  const auto row = check->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row || check->text(0) != "ok") return tl::unexpected(database.error(SQLITE_CORRUPT));
  return {};
}

}  // namespace

Result<Database> Database::open(const std::filesystem::path& path) {
  Database database;
  database.path_ = path;
  sqlite3* handle = nullptr;
  const int code =
      sqlite3_open_v2(path.c_str(), &handle,
                      SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX, nullptr);
  database.handle_.reset(handle);
  if (code != SQLITE_OK) return tl::unexpected(database.error(code));
  sqlite3_extended_result_codes(handle, 1);
  sqlite3_busy_timeout(handle, 10'000);
  // For files from elsewhere, as SQLite's "Defense against the dark arts" has it.
  for (const char* sql : {"PRAGMA trusted_schema=OFF", "PRAGMA cell_size_check=ON"}) {
    if (auto done = database.run(sql); !done) return tl::unexpected(done.error());
  }
  // Before anything is written: a damaged file is kept as it was.
  if (auto checked = check_whole(database); !checked) return tl::unexpected(checked.error());
  // An answer is on the disk when it is recorded: a person gives one every few seconds at most.
  for (const char* sql :
       {"PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL", "PRAGMA foreign_keys=ON"}) {
    if (auto done = database.run(sql); !done) return tl::unexpected(done.error());
  }
  return database;
}

Result<void> Database::run(const std::string& sql) {
  const int code = sqlite3_exec(handle_.get(), sql.c_str(), nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(error(code));
  return {};
}

Result<Statement> Database::prepare(std::string_view sql) const {
  Statement statement;
  sqlite3_stmt* handle = nullptr;
  const int code =
      sqlite3_prepare_v2(handle_.get(), sql.data(), static_cast<int>(sql.size()), &handle, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(error(code));
  statement.database_ = this;
  statement.handle_.reset(handle);
  return statement;
}

Result<std::int64_t> Database::number(std::string_view sql) const {
  auto statement = prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  return *row ? statement->integer(0) : 0;
}

std::int64_t Database::last_row_id() const noexcept {
  return sqlite3_last_insert_rowid(handle_.get());
}

Statement& Statement::bind(std::int64_t value) {
  sqlite3_bind_int64(handle_.get(), ++bound_, value);
  return *this;
}

Statement& Statement::bind(double value) {
  sqlite3_bind_double(handle_.get(), ++bound_, value);
  return *this;
}

Statement& Statement::bind(const std::string& value) {
  sqlite3_bind_text(handle_.get(), ++bound_, value.c_str(), static_cast<int>(value.size()),
                    SQLITE_TRANSIENT);
  return *this;
}

Statement& Statement::bind_nothing() {
  sqlite3_bind_null(handle_.get(), ++bound_);
  return *this;
}

Result<bool> Statement::step() {
  const int code = sqlite3_step(handle_.get());
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  return tl::unexpected(database_->error(code));
}

Result<void> Statement::finish() {
  const auto row = step();
  sqlite3_reset(handle_.get());
  bound_ = 0;
  if (!row) return tl::unexpected(row.error());
  return {};
}

bool Statement::is_nothing(int column) const {
  return sqlite3_column_type(handle_.get(), column) == SQLITE_NULL;
}

std::int64_t Statement::integer(int column) const {
  return sqlite3_column_int64(handle_.get(), column);
}

double Statement::real(int column) const { return sqlite3_column_double(handle_.get(), column); }

std::string Statement::text(int column) const {
  const auto* bytes = static_cast<const char*>(sqlite3_column_blob(handle_.get(), column));
  const int count = sqlite3_column_bytes(handle_.get(), column);
  return bytes == nullptr ? std::string() : std::string(bytes, static_cast<std::size_t>(count));
}

std::optional<int> Statement::maybe_integer(int column) const {
  if (is_nothing(column)) return std::nullopt;
  return static_cast<int>(integer(column));
}

std::optional<double> Statement::maybe_real(int column) const {
  if (is_nothing(column)) return std::nullopt;
  return real(column);
}

Result<Transaction> Transaction::begin(Database& database) {
  // IMMEDIATE: the right to write is taken before anything is read that the writing rests on.
  if (auto begun = database.run("BEGIN IMMEDIATE"); !begun) return tl::unexpected(begun.error());
  return Transaction(database);
}

Transaction::~Transaction() {
  if (database_ != nullptr && !database_->run("ROLLBACK")) database_ = nullptr;
}

Result<void> Transaction::commit() {
  auto done = database_->run("COMMIT");
  if (done) database_ = nullptr;
  return done;
}

}  // namespace lowstride::drill::detail
