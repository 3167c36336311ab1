#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string_view>
#include <tuple>

#include "src/take/rules.hpp"
#include "src/take/time_text.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take::detail {
namespace {

Result<void> check_passage(const Take& take, PassageId self, const std::string& name,
                           std::int64_t begin, std::int64_t end, std::optional<int> colour) {
  if (name.empty()) return fail(ErrorCode::invalid_argument, "A passage needs a name.");
  if (auto outcome = check_text(name, "name of the passage"); !outcome) return outcome;
  const bool is_taken =
      std::any_of(take.passages.begin(), take.passages.end(),
                  [&](const Passage& other) { return other.id != self && other.name == name; });
  if (is_taken) {
    return fail(ErrorCode::conflict,
                fmt::format("There is a passage named '{}' already; choose another name.", name));
  }
  if (colour && (*colour < 0 || *colour >= passage_colour_count)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("There is no passage colour {}; choose one of {}.", *colour,
                            passage_colour_count));
  }
  return check_stretch(take, begin, end);
}

void put_in_order(std::vector<Passage>& passages) {
  std::stable_sort(passages.begin(), passages.end(), [](const Passage& a, const Passage& b) {
    return std::tie(a.begin_samples, a.end_samples, a.id) <
           std::tie(b.begin_samples, b.end_samples, b.id);
  });
}

tl::unexpected<Error> no_such_passage() {
  return fail(ErrorCode::not_found,
              "There is no such passage in the take any more; choose another.");
}

}  // namespace

Result<void> check_text(std::string_view text, std::string_view what) {
  if (is_plain_text(text)) return {};
  return fail(ErrorCode::invalid_argument,
              fmt::format("The {} is too long, not UTF-8, or holds control characters; type it "
                          "anew.",
                          what));
}

Result<void> check_stretch(const Take& take, std::int64_t begin_samples, std::int64_t end_samples) {
  if (begin_samples >= 0 && begin_samples < end_samples && end_samples <= take.length_samples) {
    return {};
  }
  return fail(
      ErrorCode::invalid_argument,
      fmt::format("The stretch from {} to {} is empty or not in the take, which ends at {}.",
                  format_time(begin_samples, take), format_time(end_samples, take),
                  format_time(take.length_samples, take)));
}

std::string place_text(const Take& take, std::int64_t samples) {
  return format_place(samples, take);
}

Result<void> change(Take& take, const SetTuning& edit) {
  if (!std::isfinite(edit.a4_hz) || edit.a4_hz < least_a4_hz || edit.a4_hz > most_a4_hz) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The tuning is not between {} and {} Hz; give the frequency of A4.",
                            least_a4_hz, most_a4_hz));
  }
  take.a4_hz = edit.a4_hz;
  take.tuning_state = State::confirmed;
  return {};
}

Result<void> change(Take& take, const SetKey& edit) {
  if (edit.tonic_pc < 0 || edit.tonic_pc > 11) {
    return fail(ErrorCode::invalid_argument, "That key does not exist.");
  }
  take.key = Key{edit.tonic_pc, edit.is_minor, State::confirmed, certain};
  return {};
}

Result<void> change(Take& take, const SetTitle& edit) {
  if (auto outcome = check_text(edit.title, "title"); !outcome) return outcome;
  take.title = edit.title;
  return {};
}

Result<void> change(Take& take, const SetComposer& edit) {
  if (auto outcome = check_text(edit.composer, "composer"); !outcome) return outcome;
  take.composer = edit.composer;
  return {};
}

Result<void> change(Take& take, const SetForm& edit) {
  if (auto outcome = check_text(edit.form, "form"); !outcome) return outcome;
  take.form = edit.form;
  take.form_state = State::confirmed;
  return {};
}

Result<void> change(Take& take, const SetRecording& edit) {
  if (!take.recording) {
    return fail(ErrorCode::conflict,
                "This take was not worked out from a recording, so none can be set.");
  }
  if (edit.recording.content_hash != take.recording->content_hash ||
      edit.recording.sample_count != take.recording->sample_count) {
    return fail(ErrorCode::conflict,
                fmt::format("'{}' is another recording than the take was worked out from; begin a "
                            "new take for it.",
                            edit.recording.path));
  }
  if (auto outcome = check_text(edit.recording.path, "path"); !outcome) return outcome;
  take.recording = edit.recording;
  return {};
}

Result<void> change(Take& take, const AddPassage& edit) {
  if (auto outcome =
          check_passage(take, {}, edit.name, edit.begin_samples, edit.end_samples, edit.colour);
      !outcome) {
    return outcome;
  }
  take.passages.push_back(
      {new_id<PassageId>(take), edit.name, edit.begin_samples, edit.end_samples, edit.colour, {}});
  put_in_order(take.passages);
  return {};
}

Result<void> change(Take& take, const ReplacePassage& edit) {
  const auto index = index_of(take.passages, edit.id);
  if (!index) return no_such_passage();
  if (auto outcome = check_passage(take, edit.id, edit.name, edit.begin_samples, edit.end_samples,
                                   edit.colour);
      !outcome) {
    return outcome;
  }
  Passage& passage = take.passages[*index];
  passage.name = edit.name;
  passage.begin_samples = edit.begin_samples;
  passage.end_samples = edit.end_samples;
  if (edit.colour) passage.colour = edit.colour;
  put_in_order(take.passages);
  return {};
}

Result<void> change(Take& take, const RemovePassage& edit) {
  const auto index = index_of(take.passages, edit.id);
  if (!index) return no_such_passage();
  take.passages.erase(take.passages.begin() + static_cast<std::ptrdiff_t>(*index));
  return {};
}

}  // namespace lowstride::take::detail
