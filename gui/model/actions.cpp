#include "gui/model/actions.hpp"

#include <algorithm>
#include <cctype>
#include <utility>

#include <fmt/format.h>

namespace lowstride::desk {
namespace {

constexpr std::array<ActionInfo, action_count> actions{{
    {Action::open, "open", "Take", "Open a recording or take", KeyChord{'O', true}},
    {Action::save, "save", "Take", "Save", KeyChord{'S', true}},
    {Action::save_copy, "save_copy", "Take", "Save a copy", KeyChord{'S', true, true}},
    {Action::export_sheet, "export_sheet", "Take", "Write sheets and practice audio",
     KeyChord{'E', true}},
    {Action::drill, "drill", "Take", "Train the ears on what is confirmed", KeyChord{'D'}},
    {Action::version_before, "version_before", "Take", "Version before the last save",
     KeyChord{'O', true, true}},
    {Action::versions, "versions", "Take", "Versions kept: choose one", KeyChord{'V', true, true}},
    {Action::undo, "undo", "Take", "Undo", KeyChord{'Z', true}},
    {Action::redo, "redo", "Take", "Redo", KeyChord{'Z', true, true}},
    {Action::help, "help", "Take", "Keys and help", KeyChord{keys::f1}},
    {Action::close, "close", "Take", "Close the window", KeyChord{'Q', true}},
    {Action::play, "play", "Hear", "Play or stop", KeyChord{' '}},
    {Action::play_selection, "play_selection", "Hear", "Loop what is selected, slowly",
     KeyChord{keys::enter}},
    {Action::play_from_start, "play_from_start", "Hear", "Play from the start",
     KeyChord{' ', false, true}},
    {Action::loop, "loop", "Hear", "Loop the marked stretch, on or off", KeyChord{'L'}},
    {Action::slower, "slower", "Hear", "Slower by 5 %", KeyChord{'['}},
    {Action::faster, "faster", "Hear", "Faster by 5 %", KeyChord{']'}},
    {Action::usual_speed, "usual_speed", "Hear", "Full speed, or half", KeyChord{'\\'}},
    {Action::pitch_down, "pitch_down", "Hear", "Recording a semitone lower", KeyChord{'[', true}},
    {Action::pitch_up, "pitch_up", "Hear", "Recording a semitone higher", KeyChord{']', true}},
    {Action::usual_pitch, "usual_pitch", "Hear", "Recording at its own pitch",
     KeyChord{'\\', true}},
    {Action::click, "click", "Hear", "Click: none, all, 2 and 4, 1", KeyChord{'K'}},
    {Action::count_in, "count_in", "Hear", "Count-in: none, one bar, two bars",
     KeyChord{'K', false, true}},
    {Action::line, "line", "Hear", "Line as written: off, beside, instead", KeyChord{'W'}},
    {Action::low_voice, "low_voice", "Hear", "Low voice: as it is, up, only, out", KeyChord{'B'}},
    {Action::octave_up, "octave_up", "Hear", "Low voice an octave up, for small speakers",
     KeyChord{'B', false, true}},
    {Action::compare, "compare", "Hear", "Hear two candidates in turn", KeyChord{'A'}},
    {Action::ramp, "ramp", "Hear", "Speed up over the repeats", KeyChord{'L', false, true}},
    {Action::next_note, "next_note", "Move about", "Next note", KeyChord{keys::right}},
    {Action::previous_note, "previous_note", "Move about", "Note before", KeyChord{keys::left}},
    {Action::next_bar, "next_bar", "Move about", "Next bar", KeyChord{keys::page_down}},
    {Action::previous_bar, "previous_bar", "Move about", "Bar before", KeyChord{keys::page_up}},
    {Action::go_start, "go_start", "Move about", "Start of the take", KeyChord{keys::home}},
    {Action::go_end, "go_end", "Move about", "End of the take", KeyChord{keys::end}},
    {Action::next_doubt, "next_doubt", "Move about", "Next doubt", KeyChord{'N'}},
    {Action::previous_doubt, "previous_doubt", "Move about", "Doubt before",
     KeyChord{'N', false, true}},
    {Action::zoom_in, "zoom_in", "Move about", "Zoom in", KeyChord{'='}},
    {Action::zoom_out, "zoom_out", "Move about", "Zoom out", KeyChord{'-'}},
    {Action::zoom_take, "zoom_take", "Move about", "See the whole take", KeyChord{'0', true}},
    {Action::zoom_selection, "zoom_selection", "Move about", "See what is marked or selected",
     KeyChord{'Z'}},
    {Action::zoom_bar, "zoom_bar", "Move about", "See four bars", KeyChord{'Z', false, true}},
    {Action::scroll_left, "scroll_left", "Move about", "Half a screen back",
     KeyChord{keys::page_up, false, true}},
    {Action::scroll_right, "scroll_right", "Move about", "Half a screen on",
     KeyChord{keys::page_down, false, true}},
    {Action::follow, "follow", "Move about", "Follow the sound, or stay", KeyChord{'F'}},
    {Action::select_all, "select_all", "Select", "All notes", KeyChord{'A', true}},
    {Action::select_alike, "select_alike", "Select", "All like this one",
     KeyChord{'A', true, true}},
    {Action::select_bar, "select_bar", "Select", "Notes of the bar", KeyChord{'B', true}},
    {Action::select_more, "select_more", "Select", "One note more",
     KeyChord{keys::right, false, true}},
    {Action::select_less, "select_less", "Select", "One note less",
     KeyChord{keys::left, false, true}},
    {Action::clear_selection, "clear_selection", "Select", "Nothing, and close what is open",
     KeyChord{keys::escape}},
    {Action::confirm, "confirm", "Notes", "This is right", KeyChord{'C'}},
    {Action::doubt_and_next, "doubt_and_next", "Notes", "Doubtful; go to the next doubt",
     KeyChord{'Q'}},
    {Action::semitone_up, "semitone_up", "Notes", "Semitone up", KeyChord{keys::up}},
    {Action::semitone_down, "semitone_down", "Notes", "Semitone down", KeyChord{keys::down}},
    {Action::octave_higher, "octave_higher", "Notes", "Octave up", KeyChord{keys::up, false, true}},
    {Action::octave_lower, "octave_lower", "Notes", "Octave down",
     KeyChord{keys::down, false, true}},
    {Action::string_higher, "string_higher", "Notes", "Same pitch, next higher string",
     KeyChord{keys::up, true}},
    {Action::string_lower, "string_lower", "Notes", "Same pitch, next lower string",
     KeyChord{keys::down, true}},
    {Action::unpin, "unpin", "Notes", "Leave the string to the fingering", KeyChord{'U'}},
    {Action::onset_earlier, "onset_earlier", "Notes", "Onset earlier", KeyChord{keys::left, true}},
    {Action::onset_later, "onset_later", "Notes", "Onset later", KeyChord{keys::right, true}},
    {Action::end_earlier, "end_earlier", "Notes", "End earlier",
     KeyChord{keys::left, false, false, true}},
    {Action::end_later, "end_later", "Notes", "End later",
     KeyChord{keys::right, false, false, true}},
    {Action::split, "split", "Notes", "Split at the cursor", KeyChord{'S'}},
    {Action::join, "join", "Notes", "Join with the next", KeyChord{'J'}},
    {Action::tie, "tie", "Notes", "Tie to the next", KeyChord{'T'}},
    {Action::dead, "dead", "Notes", "Dead note", KeyChord{'X'}},
    {Action::add_note, "add_note", "Notes", "Add a note at the cursor", KeyChord{'I'}},
    {Action::remove, "remove", "Notes", "Remove: nothing is played here", KeyChord{keys::del}},
    {Action::next_candidate, "next_candidate", "Notes", "Next candidate for note or chord",
     KeyChord{'V'}},
    {Action::copy_bars, "copy_bars", "Notes", "Copy the marked bars to the cursor",
     KeyChord{'D', true}},
    {Action::remark, "remark", "Notes", "Remark on the note or the bar, for the sheets",
     KeyChord{'R', false, true}},
    {Action::name_chord, "name_chord", "Chords and beats", "Name the chord", KeyChord{'H'}},
    {Action::chord_1, "chord_1", "Chords and beats", "The chord's first other candidate",
     KeyChord{keys::f1 + 1}},
    {Action::chord_2, "chord_2", "Chords and beats", "The chord's second other candidate",
     KeyChord{keys::f1 + 2}},
    {Action::chord_3, "chord_3", "Chords and beats", "The chord's third other candidate",
     KeyChord{keys::f1 + 3}},
    {Action::chord_bass, "chord_bass", "Chords and beats", "The selected note is the chord's bass",
     KeyChord{'H', false, true}},
    {Action::insert_chord, "insert_chord", "Chords and beats", "A chord changes at the cursor",
     KeyChord{'H', true}},
    {Action::tap, "tap", "Chords and beats", "Tap the beat while it plays", KeyChord{'M'}},
    {Action::beat_one, "beat_one", "Chords and beats", "This is one", KeyChord{'O'}},
    {Action::insert_beat, "insert_beat", "Chords and beats", "A beat at the cursor",
     KeyChord{'I', false, true}},
    {Action::drop_beat, "drop_beat", "Chords and beats", "No beat here",
     KeyChord{keys::del, false, true}},
    {Action::double_beats, "double_beats", "Chords and beats", "Twice as many beats",
     KeyChord{'2', true}},
    {Action::halve_beats, "halve_beats", "Chords and beats", "Half as many beats",
     KeyChord{'1', true}},
    {Action::name_passage, "name_passage", "Passages", "Name the marked stretch", KeyChord{'P'}},
    {Action::remove_passage, "remove_passage", "Passages", "Forget the passage",
     KeyChord{keys::del, true}},
    {Action::passage_colour, "passage_colour", "Passages", "The passage's next colour",
     KeyChord{'P', false, true}},
    {Action::passage_1, "passage_1", "Passages", "Mark passage 1",
     KeyChord{'1', false, false, true}},
    {Action::passage_2, "passage_2", "Passages", "Mark passage 2",
     KeyChord{'2', false, false, true}},
    {Action::passage_3, "passage_3", "Passages", "Mark passage 3",
     KeyChord{'3', false, false, true}},
    {Action::passage_4, "passage_4", "Passages", "Mark passage 4",
     KeyChord{'4', false, false, true}},
    {Action::show_note, "show_note", "What is shown", "The note at hand", KeyChord{keys::f1 + 4}},
    {Action::show_doubts, "show_doubts", "What is shown", "Doubts", KeyChord{keys::f1 + 5}},
    {Action::show_passages, "show_passages", "What is shown", "Passages", KeyChord{keys::f1 + 6}},
    {Action::show_take, "show_take", "What is shown", "Title, neck, tuning, remarks",
     KeyChord{keys::f1 + 7}},
    {Action::show_history, "show_history", "What is shown", "What was done",
     KeyChord{keys::f1 + 8}},
    {Action::lens, "lens", "What is shown", "Evidence of the low voice", KeyChord{'E'}},
    {Action::roles, "roles", "What is shown", "Roles of the notes", KeyChord{'R'}},
    {Action::theme, "theme", "What is shown", "Dark or light", KeyChord{keys::f1 + 9}},
    {Action::larger, "larger", "What is shown", "Larger", KeyChord{'=', true}},
    {Action::smaller, "smaller", "What is shown", "Smaller", KeyChord{'-', true}},
    {Action::mirror_neck, "mirror_neck", "What is shown", "Neck for left-handers",
     KeyChord{keys::f1 + 10}},
}};

constexpr bool are_in_order() {
  for (std::size_t i = 0; i < actions.size(); ++i) {
    if (static_cast<std::size_t>(actions[i].action) != i) return false;
  }
  return true;
}
static_assert(are_in_order(), "all_actions() is in the order of Action");

constexpr std::pair<int, std::string_view> key_names[] = {{' ', "Space"},
                                                          {keys::escape, "Escape"},
                                                          {keys::enter, "Enter"},
                                                          {keys::tab, "Tab"},
                                                          {keys::backspace, "Backspace"},
                                                          {keys::insert, "Insert"},
                                                          {keys::del, "Delete"},
                                                          {keys::right, "Right"},
                                                          {keys::left, "Left"},
                                                          {keys::down, "Down"},
                                                          {keys::up, "Up"},
                                                          {keys::page_up, "PageUp"},
                                                          {keys::page_down, "PageDown"},
                                                          {keys::home, "Home"},
                                                          {keys::end, "End"}};

constexpr int last_function_key = 12;

bool takes_away(std::string_view& text, std::string_view start) {
  if (!text.starts_with(start) || text.size() == start.size()) return false;
  text.remove_prefix(start.size());
  return true;
}

}  // namespace

std::string key_text(const KeyChord& chord) {
  if (chord.key == 0) return "";
  std::string text;
  if (chord.is_control) text += "Ctrl+";
  if (chord.is_alt) text += "Alt+";
  if (chord.is_shift) text += "Shift+";
  for (const auto& [key, name] : key_names) {
    if (key == chord.key) return text + std::string(name);
  }
  if (chord.key >= keys::f1 && chord.key < keys::f1 + last_function_key) {
    return text + fmt::format("F{}", chord.key - keys::f1 + 1);
  }
  return text + static_cast<char>(chord.key);
}

Result<KeyChord> parse_key_chord(std::string_view text) {
  KeyChord chord;
  std::string_view rest = text;
  if (rest.empty()) return chord;
  while (true) {
    if (takes_away(rest, "Ctrl+")) {
      chord.is_control = true;
    } else if (takes_away(rest, "Alt+")) {
      chord.is_alt = true;
    } else if (takes_away(rest, "Shift+")) {
      chord.is_shift = true;
    } else {
      break;
    }
  }
  for (const auto& [key, name] : key_names) {
    if (rest == name) chord.key = key;
  }
  for (int number = 1; number <= last_function_key; ++number) {
    if (rest == fmt::format("F{}", number)) chord.key = keys::f1 + number - 1;
  }
  if (rest.size() == 1 && rest.front() > ' ' && rest.front() < 127) {
    chord.key = std::toupper(static_cast<unsigned char>(rest.front()));
  }
  if (chord.key == 0) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is no key; write it like Ctrl+Shift+Z, F5 or Space.", text));
  }
  return chord;
}

std::span<const ActionInfo, action_count> all_actions() noexcept { return actions; }

const ActionInfo& info_of(Action action) noexcept {
  return actions[static_cast<std::size_t>(action)];
}

KeyMap::KeyMap() {
  for (const ActionInfo& info : actions) set(info.action, info.key);
}

std::optional<Action> KeyMap::action_of(const KeyChord& chord) const noexcept {
  if (chord.key == 0) return std::nullopt;
  const auto at = std::ranges::find(keys_, chord);
  if (at == keys_.end()) return std::nullopt;
  return static_cast<Action>(at - keys_.begin());
}

std::vector<KeyConflict> KeyMap::conflicts() const {
  std::vector<KeyConflict> found;
  for (std::size_t i = 0; i < keys_.size(); ++i) {
    if (keys_[i].key == 0) continue;
    for (std::size_t k = i + 1; k < keys_.size(); ++k) {
      if (keys_[i] == keys_[k]) {
        found.push_back({keys_[i], static_cast<Action>(i), static_cast<Action>(k)});
      }
    }
  }
  return found;
}

}  // namespace lowstride::desk
