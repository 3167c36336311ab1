#pragma once

#include <string>
#include <string_view>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

/// The version of the file format that is written; the loader knows this and all older ones.
inline constexpr int take_format_version = 1;

/// A take as JSON text: UTF-8, one entry a line, always in the same order, so that two versions
/// can be compared line by line. Times are samples. Each note says its role and why (`roles_of`)
/// beside its own fields: for readers of the file, see take_from_json. Requires `check_take(take)`.
[[nodiscard]] std::string take_to_json(const Take& take);

/// The reverse; `check_take` holds for what it gives. Fields that this version does not know are
/// kept and written again, but for the roles of notes, which follow from the rest and may have been
/// written before somebody changed it by hand. `name` is how messages call the text. Errors:
/// damaged (no JSON, a value out of range, entries out of order: the sentence names the entry),
/// unsupported (a newer version, not a take at all).
[[nodiscard]] Result<Take> take_from_json(std::string_view text, std::string_view name);

/// An edit as JSON on one line, and back. Errors: damaged.
[[nodiscard]] std::string edit_to_json(const Edit& edit);
[[nodiscard]] Result<Edit> edit_from_json(std::string_view text);

}  // namespace lowstride::take
