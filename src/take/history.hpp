#pragma once

#include <optional>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"

namespace lowstride::take {

/// Undo and redo without limit: two stacks of edits.
class History {
 public:
  /// Applies `edit` and remembers how to undo it; what could be redone is forgotten. On error
  /// nothing happens.
  [[nodiscard]] Result<void> apply(Take& take, const Edit& edit);

  /// Remembers the undo of an edit that the caller has applied, as `apply` does.
  void record(Edit undo);

  /// The edit that the next `undo` (`redo`) applies, or null when there is none. The journal wants
  /// it beforehand.
  [[nodiscard]] const Edit* next_undo() const noexcept;
  [[nodiscard]] const Edit* next_redo() const noexcept;

  /// Takes one step back or forth. Returns its name, or nullopt when there is none.
  std::optional<std::string> undo(Take& take);
  std::optional<std::string> redo(Take& take);

  /// Names of the steps that can be undone, oldest first, and of those that can be redone, the
  /// next one first.
  [[nodiscard]] std::vector<std::string> done() const;
  [[nodiscard]] std::vector<std::string> undone() const;

 private:
  std::vector<Edit> undo_;
  std::vector<Edit> redo_;
};

}  // namespace lowstride::take
