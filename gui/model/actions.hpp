#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"

namespace lowstride::desk {

/// Keys by number: printing ones by their capital letter or sign in ASCII as the player's keyboard
/// has them, the others as GLFW numbers them (window/window.cpp checks that).
namespace keys {
inline constexpr int escape = 256, enter = 257, tab = 258, backspace = 259, insert = 260, del = 261,
                     right = 262, left = 263, down = 264, up = 265, page_up = 266, page_down = 267,
                     home = 268, end = 269, f1 = 290;
}  // namespace keys

/// A key with what is held beside it.
struct KeyChord {
  int key = 0;  // 0 = none
  bool is_control = false;
  bool is_shift = false;
  bool is_alt = false;

  auto operator<=>(const KeyChord&) const = default;
};

/// "Ctrl+Shift+Z", "Space", "F1"; "" for none. And back: errors invalid_argument.
[[nodiscard]] std::string key_text(const KeyChord& chord);
[[nodiscard]] Result<KeyChord> parse_key_chord(std::string_view text);

/// Everything that can be done at the desk by a key. The order is that of the help page.
enum class Action : std::uint8_t {
  // Take
  open,
  save,
  save_copy,
  export_sheet,
  drill,
  version_before,
  versions,
  undo,
  redo,
  help,
  close,
  // Hear
  play,
  play_selection,
  play_from_start,
  loop,
  slower,
  faster,
  usual_speed,
  pitch_down,
  pitch_up,
  usual_pitch,
  click,
  count_in,
  line,
  low_voice,
  octave_up,
  compare,
  ramp,
  // Move about
  next_note,
  previous_note,
  next_bar,
  previous_bar,
  go_start,
  go_end,
  next_doubt,
  previous_doubt,
  zoom_in,
  zoom_out,
  zoom_take,
  zoom_selection,
  zoom_bar,
  scroll_left,
  scroll_right,
  follow,
  // Select
  select_all,
  select_alike,
  select_bar,
  select_more,
  select_less,
  clear_selection,
  // Notes
  confirm,
  doubt_and_next,
  semitone_up,
  semitone_down,
  octave_higher,
  octave_lower,
  string_higher,
  string_lower,
  unpin,
  onset_earlier,
  onset_later,
  end_earlier,
  end_later,
  split,
  join,
  tie,
  dead,
  add_note,
  remove,
  next_candidate,
  copy_bars,
  remark,
  // Chords and beats
  name_chord,
  chord_1,
  chord_2,
  chord_3,
  chord_bass,
  insert_chord,
  tap,
  beat_one,
  insert_beat,
  drop_beat,
  double_beats,
  halve_beats,
  // Passages
  name_passage,
  remove_passage,
  passage_colour,
  passage_1,
  passage_2,
  passage_3,
  passage_4,
  // What is shown
  show_note,
  show_doubts,
  show_passages,
  show_take,
  show_history,
  lens,
  roles,
  theme,
  larger,
  smaller,
  mirror_neck,
};
inline constexpr std::size_t action_count = static_cast<std::size_t>(Action::mirror_neck) + 1;

struct ActionInfo {
  Action action;
  std::string_view id;       // in the settings file
  std::string_view heading;  // of its group on the help page
  std::string_view name;     // "Semitone up"
  KeyChord key;              // at first
};

/// All actions, in the order of `Action`.
[[nodiscard]] std::span<const ActionInfo, action_count> all_actions() noexcept;
[[nodiscard]] const ActionInfo& info_of(Action action) noexcept;

/// Two actions on one key.
struct KeyConflict {
  KeyChord key;
  Action first;
  Action second;

  bool operator==(const KeyConflict&) const = default;
};

/// Which key does what. A player may change it.
class KeyMap {
 public:
  /// The keys of `all_actions`.
  KeyMap();

  [[nodiscard]] std::optional<Action> action_of(const KeyChord& chord) const noexcept;
  [[nodiscard]] const KeyChord& key_of(Action action) const noexcept {
    return keys_[static_cast<std::size_t>(action)];
  }
  void set(Action action, const KeyChord& chord) noexcept {
    keys_[static_cast<std::size_t>(action)] = chord;
  }
  [[nodiscard]] std::vector<KeyConflict> conflicts() const;

  bool operator==(const KeyMap&) const = default;

 private:
  std::array<KeyChord, action_count> keys_{};
};

}  // namespace lowstride::desk
