#include <algorithm>
#include <cstddef>
#include <tuple>
#include <vector>

#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take {

std::int64_t place_of(const Take& take, const Remark& remark) noexcept {
  if (!remark.note) return remark.at_samples;
  const auto note = std::ranges::find(take.notes, *remark.note, &Note::id);
  return note == take.notes.end() ? remark.at_samples : note->onset_samples;
}

namespace detail {
namespace {

Result<void> check_remark_text(const std::string& text) {
  if (text.empty()) {
    return fail(ErrorCode::invalid_argument, "A remark needs words; remove it to say nothing.");
  }
  return check_text(text, "remark");
}

tl::unexpected<Error> no_such_remark() {
  return fail(ErrorCode::not_found,
              "There is no such remark in the take any more; choose another.");
}

}  // namespace

Result<void> change(Take& take, const AddRemark& edit) {
  if (auto outcome = check_remark_text(edit.text); !outcome) return outcome;
  std::int64_t at = edit.at_samples;
  if (edit.note) {
    const auto index = index_of(take.notes, *edit.note);
    if (!index) {
      return fail(ErrorCode::not_found, "The note of the remark is not there; choose another.");
    }
    at = take.notes[*index].onset_samples;
  }
  if (at < 0 || at > take.length_samples) {
    return fail(ErrorCode::invalid_argument, "The remark lies outside the take.");
  }
  take.remarks.push_back({new_id<RemarkId>(take), at, edit.note, edit.text, {}});
  std::ranges::stable_sort(take.remarks, {}, [](const Remark& remark) {
    return std::tuple(remark.at_samples, remark.id);
  });
  return {};
}

Result<void> change(Take& take, const ReplaceRemark& edit) {
  if (auto outcome = check_remark_text(edit.text); !outcome) return outcome;
  const auto index = index_of(take.remarks, edit.id);
  if (!index) return no_such_remark();
  take.remarks[*index].text = edit.text;
  return {};
}

Result<void> change(Take& take, const RemoveRemark& edit) {
  const auto index = index_of(take.remarks, edit.id);
  if (!index) return no_such_remark();
  take.remarks.erase(take.remarks.begin() + static_cast<std::ptrdiff_t>(*index));
  return {};
}

}  // namespace detail
}  // namespace lowstride::take
