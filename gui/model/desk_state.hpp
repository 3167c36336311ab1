#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "gui/layout/time_axis.hpp"
#include "src/take/take.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::desk {

struct Point {
  float x = 0.0F, y = 0.0F;
};

struct Rect {
  float x0 = 0.0F, y0 = 0.0F, x1 = 0.0F, y1 = 0.0F;

  [[nodiscard]] float width() const noexcept { return x1 - x0; }
  [[nodiscard]] float height() const noexcept { return y1 - y0; }
  [[nodiscard]] float middle_y() const noexcept { return (y0 + y1) / 2.0F; }
  [[nodiscard]] bool contains(Point p) const noexcept {
    return p.x >= x0 && p.x < x1 && p.y >= y0 && p.y < y1;
  }
};

enum class LaneKind : std::uint8_t {
  ruler,
  passages,
  chords,
  strings,
  counts,
  roles,
  waveform,
  lens,
  remarks,  // shown where a take has some
};
inline constexpr std::size_t lane_count = 9;

/// The name of a lane as people read it, and as the settings file has it.
[[nodiscard]] const char* lane_name(LaneKind kind) noexcept;

struct LaneSetting {
  LaneKind kind = LaneKind::strings;
  float height = 40.0F;  // at scale 1, when it is not folded
  bool is_folded = false;

  bool operator==(const LaneSetting&) const = default;
};

[[nodiscard]] std::vector<LaneSetting> usual_lanes();

/// What a held mouse button is about to do. The take changes when it is let go.
struct NoteDraft {
  take::NoteId id{};
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;
  std::optional<int> string_number = {};  // where it differs from the note's
};
struct BeatDraft {
  take::BeatId id{};
  std::int64_t time_samples = 0;
};
struct ChordDraft {
  take::ChordId id{};
  std::int64_t begin_samples = 0;
};
struct PassageDraft {
  take::PassageId id{};
  take::Stretch stretch;
};
struct RangeDraft {
  take::Stretch stretch;
};
struct BoxDraft {
  Point from, to;
};
/// Digits typed for a fret that may have a second one coming.
struct FretDraft {
  take::NoteId id{};
  std::string digits;
  double typed_seconds = 0.0;  // by the desk's clock
};
using Draft = std::variant<std::monostate, NoteDraft, BeatDraft, ChordDraft, PassageDraft,
                           RangeDraft, BoxDraft, FretDraft>;

enum class SidePanel : std::uint8_t { note, doubts, passages, take, history };

/// What one looks at: never in the take and never in undo.
struct DeskState {
  TimeAxis axis;
  std::vector<LaneSetting> lanes = usual_lanes();
  std::vector<take::NoteId> notes;  // selected, in order of time
  std::optional<take::ChordId> chord;
  std::optional<take::BeatId> beat;
  std::optional<take::PassageId> passage;
  std::optional<take::RemarkId> remark;
  std::optional<take::Stretch> range;  // what loops, is copied, confirmed or exported
  bool is_loop_on = false;
  double cursor_samples = 0.0;  // where playing begins
  std::optional<double> playing_samples;
  bool follows_playing = true;
  double doubt_threshold = 0.8;
  bool are_doubts_by_certainty = false;
  SidePanel side_panel = SidePanel::note;
  Draft draft;

  [[nodiscard]] bool is_selected(take::NoteId id) const noexcept;
  void select_only(take::NoteId id);
  void clear_selection() noexcept;
};

/// Drops from the selection what the take no longer has.
void keep_selection_valid(DeskState& state, const take::Take& take);

/// Index of an entry of the take by its id.
[[nodiscard]] std::optional<std::size_t> index_of(const take::Take& take, take::NoteId id) noexcept;
[[nodiscard]] std::optional<std::size_t> index_of(const take::Take& take,
                                                  take::ChordId id) noexcept;
[[nodiscard]] std::optional<std::size_t> index_of(const take::Take& take, take::BeatId id) noexcept;
[[nodiscard]] std::optional<std::size_t> index_of(const take::Take& take,
                                                  take::PassageId id) noexcept;
[[nodiscard]] std::optional<std::size_t> index_of(const take::Take& take,
                                                  take::RemarkId id) noexcept;

}  // namespace lowstride::desk
