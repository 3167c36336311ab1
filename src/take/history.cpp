#include "src/take/history.hpp"

#include <utility>

#include "dsp/base/contracts.hpp"

namespace lowstride::take {
namespace {

std::optional<std::string> step(Take& take, std::vector<Edit>& from, std::vector<Edit>& to) {
  if (from.empty()) return std::nullopt;
  auto back = take::apply(take, from.back());
  // An undo fits the take that its edit left, and only this history changes the take.
  LOWSTRIDE_EXPECTS(back.has_value());
  std::string name = describe(from.back());
  from.pop_back();
  to.push_back(std::move(*back));
  return name;
}

std::vector<std::string> names_of(const std::vector<Edit>& edits) {
  std::vector<std::string> names;
  names.reserve(edits.size());
  for (const Edit& edit : edits) names.push_back(describe(edit));
  return names;
}

}  // namespace

Result<void> History::apply(Take& take, const Edit& edit) {
  auto back = take::apply(take, edit);
  if (!back) return tl::unexpected(std::move(back.error()));
  record(std::move(*back));
  return {};
}

void History::record(Edit undo) {
  undo_.push_back(std::move(undo));
  redo_.clear();
}

const Edit* History::next_undo() const noexcept { return undo_.empty() ? nullptr : &undo_.back(); }

const Edit* History::next_redo() const noexcept { return redo_.empty() ? nullptr : &redo_.back(); }

std::optional<std::string> History::undo(Take& take) { return step(take, undo_, redo_); }

std::optional<std::string> History::redo(Take& take) { return step(take, redo_, undo_); }

std::vector<std::string> History::done() const { return names_of(undo_); }

std::vector<std::string> History::undone() const {
  std::vector<std::string> names = names_of(redo_);
  return {names.rbegin(), names.rend()};
}

}  // namespace lowstride::take
