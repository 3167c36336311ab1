#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "src/base/result.hpp"

struct sqlite3;
struct sqlite3_stmt;

// The few calls of SQLite that the history needs, with errors as values.
namespace lowstride::drill::detail {

class Statement;

class Database {
 public:
  /// Errors: damaged (no database, or one that contradicts itself), cannot_write, conflict (busy).
  [[nodiscard]] static Result<Database> open(const std::filesystem::path& path);

  [[nodiscard]] Result<void> run(const std::string& sql);
  [[nodiscard]] Result<Statement> prepare(std::string_view sql) const;
  [[nodiscard]] Result<std::int64_t> number(std::string_view sql) const;
  [[nodiscard]] std::int64_t last_row_id() const noexcept;
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

  /// The error that SQLite has just told of, as one sentence.
  [[nodiscard]] Error error(int code) const;

 private:
  struct Close {
    void operator()(sqlite3* handle) const noexcept;
  };
  std::filesystem::path path_;
  std::unique_ptr<sqlite3, Close> handle_;
};

/// A prepared statement; values are bound in the order of its question marks.
class Statement {
 public:
  Statement& bind(std::int64_t value);
  Statement& bind(int value) { return bind(static_cast<std::int64_t>(value)); }
  Statement& bind(double value);
  Statement& bind(const std::string& value);
  template <typename Value>
  Statement& bind(const std::optional<Value>& value) {
    return value ? bind(*value) : bind_nothing();
  }

  /// True when there is a row to read, false at the end.
  [[nodiscard]] Result<bool> step();
  /// Runs a statement without rows and makes it ready to be bound again.
  [[nodiscard]] Result<void> finish();

  [[nodiscard]] bool is_nothing(int column) const;
  [[nodiscard]] std::int64_t integer(int column) const;
  [[nodiscard]] double real(int column) const;
  [[nodiscard]] std::string text(int column) const;
  [[nodiscard]] std::optional<int> maybe_integer(int column) const;
  [[nodiscard]] std::optional<double> maybe_real(int column) const;

 private:
  friend class Database;
  struct Finalize {
    void operator()(sqlite3_stmt* handle) const noexcept;
  };
  Statement& bind_nothing();
  const Database* database_ = nullptr;
  std::unique_ptr<sqlite3_stmt, Finalize> handle_;
  int bound_ = 0;
};

/// Everything until `commit` happens or nothing of it; without it, nothing.
class Transaction {
 public:
  [[nodiscard]] static Result<Transaction> begin(Database& database);
  Transaction(Transaction&& other) noexcept : database_(std::exchange(other.database_, nullptr)) {}
  Transaction& operator=(Transaction&&) = delete;
  ~Transaction();
  [[nodiscard]] Result<void> commit();

 private:
  explicit Transaction(Database& database) : database_(&database) {}
  Database* database_;
};

}  // namespace lowstride::drill::detail
