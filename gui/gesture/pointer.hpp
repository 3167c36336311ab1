#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "gui/layout/lanes.hpp"
#include "gui/model/desk_state.hpp"
#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::desk {

/// What the mouse did since the last frame, over the lanes.
struct PointerInput {
  Point at;
  bool is_over = false;  // the lanes are under it, or a button pressed there is held
  bool is_pressed = false;
  bool is_released = false;
  bool is_double = false;  // the second press of a double click
  bool is_menu_pressed = false;
  bool is_pan_held = false;  // middle button
  Point pan;
  float wheel = 0.0F;
  float wheel_sideways = 0.0F;
  bool is_control = false;
  bool is_shift = false;
  bool is_alt = false;  // free of the grid
};

/// What a gesture asks for. The take changes through `edit` alone, once a gesture.
struct PointerOutcome {
  std::optional<Result<take::Edit>> edit = {};
  std::optional<std::int64_t> cursor = {};               // play from here
  std::optional<Hit> menu = {};                          // a menu about this was asked for
  std::optional<take::ChordId> name_chord = {};          // its name is to be typed
  std::optional<take::RemarkId> write_remark = {};       // its words are to be typed
  std::optional<std::pair<int, std::int64_t>> add = {};  // a note on this string, at this time
  std::optional<std::int64_t> add_beat = {};
  std::optional<std::int64_t> add_chord = {};
  bool is_range_made = false;  // a stretch was marked by dragging
};

/// What the hand on the mouse is doing in the lanes: presses, drags, wheel. While a button is held
/// the change is `DeskState::draft`; the edit is made on release.
class PointerGestures {
 public:
  PointerOutcome update(const LaneLayout& layout, const take::Take& take, DeskState& state,
                        const PointerInput& input);
  /// Gives up what is being dragged; the take stays as it is.
  void cancel(DeskState& state);
  [[nodiscard]] bool is_dragging() const noexcept { return grip_.has_value() && has_moved_; }

 private:
  void press(const take::Take& take, DeskState& state, const PointerInput& input,
             PointerOutcome& outcome);
  void drag(const LaneLayout& layout, const take::Take& take, DeskState& state,
            const PointerInput& input);
  void release(const LaneLayout& layout, const take::Take& take, DeskState& state,
               const PointerInput& input, PointerOutcome& outcome);
  void click(const take::Take& take, DeskState& state, const PointerInput& input,
             PointerOutcome& outcome);
  void drag_note(const LaneLayout& layout, const take::Take& take, DeskState& state,
                 const PointerInput& input);

  std::optional<Hit> grip_;  // what was under the button when it was pressed
  Point from_;
  bool has_moved_ = false;
  float lane_height_ = 0.0F;  // when its divider was taken
};

}  // namespace lowstride::desk
