#include "src/notation/musicxml_voices.hpp"

#include <algorithm>
#include <map>
#include <optional>

namespace lowstride::notation {
namespace {

/// The voice of a staff with the lowest middle pitch; nothing where there is but one.
std::optional<int> low_voice(const std::vector<PlayedNote>& notes, bool is_on_tab) {
  std::map<int, std::vector<int>> pitches;
  for (const PlayedNote& note : notes) {
    if (note.note.is_on_tab == is_on_tab) pitches[note.note.voice].push_back(note.note.midi);
  }
  if (pitches.size() < 2) return std::nullopt;
  std::optional<int> lowest;
  int lowest_middle = 0;
  for (auto& [voice, midi] : pitches) {
    const auto middle = midi.begin() + static_cast<std::ptrdiff_t>(midi.size() / 2);
    std::nth_element(midi.begin(), middle, midi.end());
    if (lowest && *middle >= lowest_middle) continue;
    lowest = voice;
    lowest_middle = *middle;
  }
  return lowest;
}

}  // namespace

std::vector<PlayedNote> joined(std::vector<PlayedNote> notes) {
  std::ranges::stable_sort(notes, {}, &PlayedNote::onset);
  std::vector<PlayedNote> whole;
  for (const PlayedNote& note : notes) {
    if (note.note.is_tie_stop) {
      const auto before = std::find_if(whole.rbegin(), whole.rend(), [&](const PlayedNote& one) {
        return one.note.is_tie_start && one.note.midi == note.note.midi &&
               one.note.is_on_tab == note.note.is_on_tab && is_same_place(one.end, note.onset);
      });
      if (before != whole.rend()) {
        before->end = note.end;
        before->note.is_tie_start = note.note.is_tie_start;
        continue;
      }
    }
    whole.push_back(note);
  }
  return whole;
}

std::vector<PlayedStab> take_out_stabs(std::vector<PlayedNote>& notes) {
  const auto line_on_tab = low_voice(notes, true);
  if (!line_on_tab) return {};
  const auto line_on_staff = low_voice(notes, false);
  std::vector<PlayedStab> stabs;
  for (const PlayedNote& note : notes) {
    if (!note.note.is_on_tab || note.note.voice == *line_on_tab || !note.note.position) continue;
    if (stabs.empty() || !is_same_place(stabs.back().onset, note.onset)) {
      stabs.push_back({note.onset, note.end, {}});
    }
    PlayedStab& stab = stabs.back();
    stab.end = std::max(stab.end, note.end);
    const bool is_taken = std::ranges::any_of(stab.strings, [&](const XmlNote& other) {
      return other.position->string_number == note.note.position->string_number;
    });
    if (!is_taken) stab.strings.push_back(note.note);
  }
  for (PlayedStab& stab : stabs) {
    std::ranges::stable_sort(stab.strings, std::ranges::greater{},
                             [](const XmlNote& note) { return note.position->string_number; });
  }
  std::erase_if(notes, [&](const PlayedNote& note) {
    const auto& line = note.note.is_on_tab ? line_on_tab : line_on_staff;
    return line && note.note.voice != *line;
  });
  return stabs;
}

std::vector<PlayedNote> one_voice(const std::vector<PlayedNote>& notes) {
  std::vector<PlayedNote> staff;
  std::vector<PlayedNote> tab;
  for (const PlayedNote& note : notes) (note.note.is_on_tab ? tab : staff).push_back(note);
  if (staff.empty()) return tab;
  std::size_t first = 0;
  for (PlayedNote& note : staff) {
    while (first < tab.size() && tab[first].onset < note.onset - same_place) ++first;
    for (std::size_t i = first; i < tab.size() && is_same_place(tab[i].onset, note.onset); ++i) {
      if (tab[i].note.midi == note.note.midi && !note.note.position) {
        note.note.position = tab[i].note.position;
      }
    }
  }
  return staff;
}

}  // namespace lowstride::notation
