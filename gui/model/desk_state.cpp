#include "gui/model/desk_state.hpp"

#include <algorithm>
#include <unordered_set>

namespace lowstride::desk {
namespace {

template <typename Entry, typename Id>
std::optional<std::size_t> find_id(const std::vector<Entry>& entries, Id id) noexcept {
  const auto at = std::ranges::find(entries, id, &Entry::id);
  if (at == entries.end()) return std::nullopt;
  return static_cast<std::size_t>(at - entries.begin());
}

}  // namespace

const char* lane_name(LaneKind kind) noexcept {
  switch (kind) {
    case LaneKind::ruler:
      return "bars";
    case LaneKind::passages:
      return "passages";
    case LaneKind::chords:
      return "chords";
    case LaneKind::strings:
      return "strings";
    case LaneKind::counts:
      return "counts";
    case LaneKind::roles:
      return "roles";
    case LaneKind::waveform:
      return "waveform";
    case LaneKind::lens:
      return "evidence";
    case LaneKind::remarks:
      return "remarks";
  }
  return "";
}

std::vector<LaneSetting> usual_lanes() {
  return {{LaneKind::ruler, 24.0F, false},    {LaneKind::passages, 18.0F, false},
          {LaneKind::remarks, 20.0F, false},  {LaneKind::chords, 30.0F, false},
          {LaneKind::strings, 168.0F, false}, {LaneKind::counts, 22.0F, false},
          {LaneKind::roles, 20.0F, true},     {LaneKind::waveform, 56.0F, false},
          {LaneKind::lens, 170.0F, true}};
}

bool DeskState::is_selected(take::NoteId id) const noexcept {
  return std::ranges::find(notes, id) != notes.end();
}

void DeskState::select_only(take::NoteId id) {
  clear_selection();
  notes.push_back(id);
}

void DeskState::clear_selection() noexcept {
  notes.clear();
  chord.reset();
  beat.reset();
  passage.reset();
  remark.reset();
}

void keep_selection_valid(DeskState& state, const take::Take& take) {
  // Few are looked up one by one; for a whole line that would be its square.
  constexpr std::size_t few = 16;
  if (state.notes.size() <= few) {
    std::erase_if(state.notes, [&](take::NoteId id) { return !index_of(take, id); });
  } else {
    std::unordered_set<std::uint64_t> present;
    for (const take::Note& note : take.notes) present.insert(static_cast<std::uint64_t>(note.id));
    std::erase_if(state.notes, [&](take::NoteId id) {
      return !present.contains(static_cast<std::uint64_t>(id));
    });
  }
  if (state.chord && !index_of(take, *state.chord)) state.chord.reset();
  if (state.beat && !index_of(take, *state.beat)) state.beat.reset();
  if (state.passage && !index_of(take, *state.passage)) state.passage.reset();
  if (state.remark && !index_of(take, *state.remark)) state.remark.reset();
}

std::optional<std::size_t> index_of(const take::Take& take, take::NoteId id) noexcept {
  return find_id(take.notes, id);
}
std::optional<std::size_t> index_of(const take::Take& take, take::ChordId id) noexcept {
  return find_id(take.chords, id);
}
std::optional<std::size_t> index_of(const take::Take& take, take::BeatId id) noexcept {
  return find_id(take.beats, id);
}
std::optional<std::size_t> index_of(const take::Take& take, take::PassageId id) noexcept {
  return find_id(take.passages, id);
}
std::optional<std::size_t> index_of(const take::Take& take, take::RemarkId id) noexcept {
  return find_id(take.remarks, id);
}

}  // namespace lowstride::desk
