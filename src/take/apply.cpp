#include <array>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

#include "src/take/edit.hpp"
#include "src/take/rules.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take {
namespace {

/// Groups in groups, as deep as a journal may nest them.
constexpr int deepest_group = 16;

Result<void> change_all(Take& take, const Edit& edit, int depth);

struct Changer {
  Take& take;
  int depth;

  Result<void> operator()(const EditGroup& group) const {
    if (depth >= deepest_group) {
      return fail(ErrorCode::invalid_argument, "The edit is nested too deeply; make it in steps.");
    }
    for (const Edit& edit : group.edits) {
      if (auto outcome = change_all(take, edit, depth + 1); !outcome) return outcome;
    }
    return {};
  }
  template <typename OneEdit>
  Result<void> operator()(const OneEdit& edit) const {
    return detail::change(take, edit);
  }
};

Result<void> change_all(Take& take, const Edit& edit, int depth) {
  return std::visit(Changer{take, depth}, edit);
}

/// In the order of the variant; Restore and EditGroup bring their own names.
constexpr std::array<std::string_view, std::variant_size_v<Edit>> names{
    "Add note",
    "Remove note",
    "Change note",
    "Split note",
    "Join notes",
    "Nothing here",
    "Allow proposals",
    "Confirm",
    "Confirm stretch",
    "Mark doubtful",
    "Set neck",
    "Set hand",
    "Choose string and fret",
    "Set articulation",
    "Set fingering",
    "Set stabs",
    "Add beat",
    "Move beat",
    "Remove beat",
    "Set beats",
    "This is one",
    "Set meter",
    "Set chord",
    "Remove chord",
    "Move chord",
    "Set tuning",
    "Set key",
    "Set title",
    "Set composer",
    "Set form",
    "Set recording",
    "Add passage",
    "Change passage",
    "Remove passage",
    "Add remark",
    "Change remark",
    "Remove remark",
    "New analysis",
    "Restore",
    "Several changes",
};

}  // namespace

Result<Edit> apply(Take& take, const Edit& edit) {
  Take draft = take;
  if (auto outcome = change_all(draft, edit, 0); !outcome) {
    return tl::unexpected(std::move(outcome.error()));
  }
  // The rules keep the take whole; an undo out of a damaged journal may not.
  if (auto outcome = check_take(draft); !outcome) {
    return fail(ErrorCode::invalid_argument,
                "The edit '" + describe(edit) +
                    "' would leave a take that makes no sense: " + outcome.error().message);
  }
  Restore undo = detail::difference(draft, std::move(take));
  undo.name = describe(edit);
  take = std::move(draft);
  return Edit(std::move(undo));
}

std::string describe(const Edit& edit) {
  if (const auto* restore = std::get_if<Restore>(&edit); restore && !restore->name.empty()) {
    return restore->name;
  }
  if (const auto* group = std::get_if<EditGroup>(&edit)) {
    if (!group->name.empty()) return group->name;
    if (group->edits.size() == 1) return describe(group->edits.front());
  }
  if (const auto* note = std::get_if<ReplaceNote>(&edit)) {
    if (note->midi && !note->onset_samples && !note->offset_samples) return "Set pitch";
    if (!note->midi && !note->is_dead) return "Move note";
  }
  return std::string(names.at(edit.index()));
}

}  // namespace lowstride::take
