#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"

// Edits since a take was saved, one JSON line each. Inside of src/take alone.
//   {"format": "lowstride-journal", "version": 1, "base": HASH}   the take file they build on
//   {"step": 1, "check": HASH, "edit": {…}}                       check: of step and edit
//   {"saved": HASH}                                               all so far are in that take file
//   {"closed": true}                                              the program ended here in order
namespace lowstride::take::detail {

/// 64-bit FNV-1a of bytes as 16 hex digits: tells versions of a file and damaged lines apart, not
/// more. Source: Fowler, Noll & Vo; constants as in RFC 9923.
[[nodiscard]] std::string text_hash(std::string_view bytes);

/// One step of a journal, and how many of its kind a saved take holds already.
struct JournalContents {
  bool is_empty = true;  // nothing, or not even a whole first line
  std::string base;
  std::vector<Edit> edits;
  std::string saved;              // hash in the last `saved` line, or ""
  std::size_t saved_edits = 0;    // edits before that line
  std::size_t good_bytes = 0;     // whole lines that make sense
  bool is_torn = false;           // the last line is cut off
  bool is_closed = false;         // whoever wrote the last line ended in order,
  std::size_t closed_at = 0;      // which is said from this byte on
  std::size_t damaged_lines = 0;  // lines from the first that makes no sense on
};

/// Makes sense of a journal's bytes. Error: unsupported (a newer version).
[[nodiscard]] Result<JournalContents> read_journal(std::string_view bytes, std::string_view name);

/// A journal that one program writes. Its file is the lock of the take: who has the journal has the
/// take. A thread of its own syncs within `sync_delay` of an edit.
class Journal {
 public:
  /// Opens or makes the file and takes the lock. Errors: conflict, cannot_write.
  [[nodiscard]] static Result<Journal> open(const std::filesystem::path& path,
                                            const std::filesystem::path& take_path);
  Journal(Journal&&) noexcept;
  Journal& operator=(Journal&&) noexcept;
  /// Syncs; removes the file if it holds no edits. What the medium refused is lost then.
  ~Journal();

  /// What the file held when it was opened.
  [[nodiscard]] const std::string& opened_bytes() const noexcept;
  /// True when there was a file: whoever had the take before did not close it.
  [[nodiscard]] bool was_there() const noexcept;

  /// Goes on after `contents.good_bytes` of the opened file.
  [[nodiscard]] Result<void> go_on(const JournalContents& contents);
  /// Empties the file: from here on edits build on `base`.
  void restart(std::string base);

  /// Writes one line, whole or not at all. Errors: cannot_write.
  [[nodiscard]] Result<void> append(const Edit& edit);
  [[nodiscard]] Result<void> append_saved(std::string_view hash);
  [[nodiscard]] Result<void> sync();

  [[nodiscard]] std::size_t edit_count() const noexcept;

 private:
  struct Inside;
  explicit Journal(std::unique_ptr<Inside> inside) noexcept;
  std::unique_ptr<Inside> inside_;
};

}  // namespace lowstride::take::detail
