#include "src/sheet/text_columns.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <numeric>

#include <fmt/format.h>

namespace lowstride::sheet {
namespace {

using Widths = std::vector<std::vector<int>>;

constexpr int lead_columns = 1;
constexpr int narrowest_beat = 3;
constexpr int widest_beat = 6;

int columns_of(const std::vector<int>& beats) {
  return lead_columns + std::accumulate(beats.begin(), beats.end(), 0) + 1;
}

int columns_of(const Widths& bars) {
  int columns = 0;
  for (const auto& bar : bars) columns += columns_of(bar);
  return columns;
}

/// The least width of a beat, `base` or more, at which each note and count has a free column behind
/// it.
int needed_columns(const SheetBar& bar, int beat, int base) {
  std::map<int, int> lengths{{0, 1}};  // tatum within the beat -> columns of what stands there
  for (const SheetNote& note : bar.notes) {
    if (note.onset_tatums / tatums_per_beat != beat) continue;
    int& length = lengths[note.onset_tatums % tatums_per_beat];
    length = std::max(length, column_count(note_text(note)));
  }
  for (const SheetStab& stab : bar.stabs) {
    if (stab.onset_tatums / tatums_per_beat != beat) continue;
    int& length = lengths[stab.onset_tatums % tatums_per_beat];
    for (const neck::Position& place : stab.positions) {
      length = std::max(length, column_count(stab_text(stab, place)));
    }
  }
  for (int width = base;; ++width) {
    bool fits = true;
    for (auto event = lengths.begin(); event != lengths.end(); ++event) {
      const auto next = std::next(event);
      const int end = next == lengths.end() ? width : column_of(next->first, width);
      fits = fits && end - column_of(event->first, width) >= event->second + 1;
    }
    if (fits) return width;
  }
}

/// Widens the beat under a chord name that would run into the next name or out of its bar.
void make_room_for_chords(const SheetBar& bar, std::vector<int>& widths) {
  const auto column = [&widths](int tatums) {
    const auto beat = static_cast<std::size_t>(tatums / tatums_per_beat);
    if (beat >= widths.size()) return std::accumulate(widths.begin(), widths.end(), lead_columns);
    return std::accumulate(widths.begin(), widths.begin() + static_cast<std::ptrdiff_t>(beat), 0) +
           column_of(tatums % tatums_per_beat, widths[beat]);
  };
  for (std::size_t i = 0; i < bar.chords.size(); ++i) {
    const int begin = bar.chords[i].onset_tatums;
    const int end =
        i + 1 < bar.chords.size() ? bar.chords[i + 1].onset_tatums : bar.length_tatums();
    const int length = column_count(chord_text(bar.chords[i]));
    const int missing = length + 1 - (column(end) - column(begin));
    if (missing > 0) {
      // A name of several beats' length widens them together.
      const int first = begin / tatums_per_beat;
      const int beats = std::max(1, (end - begin) / tatums_per_beat);
      for (int beat = first; beat < first + beats; ++beat) {
        widths[static_cast<std::size_t>(beat)] += (missing + beats - 1) / beats;
      }
    }
  }
}

Widths natural_widths(std::span<const SheetBar> bars, int base) {
  Widths widths;
  for (const SheetBar& bar : bars) {
    std::vector<int> beats;
    beats.reserve(static_cast<std::size_t>(bar.beat_count));
    for (int beat = 0; beat < bar.beat_count; ++beat) {
      beats.push_back(needed_columns(bar, beat, base));
    }
    make_room_for_chords(bar, beats);
    widths.push_back(std::move(beats));
  }
  return widths;
}

/// Gives a bar more columns: the same to each beat, what is left over to the last ones.
void stretch_to(std::vector<int>& beats, int columns) {
  const int missing = columns - columns_of(beats);
  if (missing <= 0) return;
  const int count = static_cast<int>(beats.size());
  for (int& beat : beats) beat += missing / count;
  beats.back() += missing % count;
}

/// Widths at which every bar is as wide as the widest in its place within a system.
Widths aligned_widths(std::span<const SheetBar> bars, std::size_t bars_a_system, int base) {
  Widths widths = natural_widths(bars, base);
  std::vector<int> places(bars_a_system, 0);
  for (std::size_t i = 0; i < widths.size(); ++i) {
    int& place = places[i % bars_a_system];
    place = std::max(place, columns_of(widths[i]));
  }
  for (std::size_t i = 0; i < widths.size(); ++i) stretch_to(widths[i], places[i % bars_a_system]);
  return widths;
}

/// Lays bars on one line at the widest base that fits, in halves where none does.
void add_fitted(std::span<const SheetBar> bars, std::size_t first, std::size_t count, int base,
                int room, std::vector<TextSystem>& systems) {
  for (int width = base; width >= narrowest_beat; --width) {
    Widths widths = natural_widths(bars.subspan(first, count), width);
    if (columns_of(widths) <= room || (count == 1 && width == narrowest_beat)) {
      systems.push_back({first, count, std::move(widths)});
      return;
    }
  }
  const std::size_t half = (count + 1) / 2;
  add_fitted(bars, first, half, base, room, systems);
  add_fitted(bars, first + half, count - half, base, room, systems);
}

struct Measure {
  std::size_t bars_a_system = 1;
  int base = narrowest_beat;
};

/// How many plain bars a line holds, and how wide their beats are there.
Measure measure(std::span<const SheetBar> bars, int room) {
  std::map<int, int> counts;
  for (const SheetBar& bar : bars) ++counts[bar.beat_count];
  const auto usual = std::ranges::max_element(counts, {}, [](const auto& e) { return e.second; });
  const int beats = usual == counts.end() ? 4 : usual->first;
  constexpr std::array<std::pair<int, int>, 4> choices{
      std::pair{8, 5}, std::pair{4, 4}, std::pair{2, 4}, std::pair{1, narrowest_beat}};
  for (const auto& [bar_count, least_base] : choices) {
    for (int base = widest_beat; base >= least_base; --base) {
      if (bar_count * (beats * base + lead_columns + 1) <= room) {
        return {static_cast<std::size_t>(bar_count), base};
      }
    }
  }
  return {};
}

/// Bytes of a code point that begins with `first`; 0 for a byte that begins none.
std::size_t byte_count(unsigned char first) noexcept {
  if (first < 0x80U) return 1;
  if (first >= 0xC2U && first < 0xE0U) return 2;
  if (first >= 0xE0U && first < 0xF0U) return 3;
  return first >= 0xF0U && first < 0xF5U ? 4 : 0;
}

}  // namespace

std::u32string code_points(std::string_view text) {
  constexpr char32_t replacement = 0xFFFD;
  std::u32string points;
  for (std::size_t i = 0; i < text.size();) {
    const auto first = static_cast<unsigned char>(text[i]);
    const std::size_t count = byte_count(first);
    if (count == 1) {
      points += static_cast<char32_t>(first);
      ++i;
      continue;
    }
    char32_t point = count == 0 ? 0U : first & (0xFFU >> (count + 1));
    bool is_whole = count > 0 && i + count <= text.size();
    for (std::size_t k = 1; is_whole && k < count; ++k) {
      const auto next = static_cast<unsigned char>(text[i + k]);
      is_whole = (next & 0xC0U) == 0x80U;
      point = (point << 6U) | (next & 0x3FU);
    }
    points += is_whole ? point : replacement;
    i += is_whole ? count : 1;
  }
  return points;
}

std::string utf8(const std::u32string& points) {
  std::string text;
  for (const char32_t point : points) {
    if (point < 0x80U) {
      text += static_cast<char>(point);
    } else if (point < 0x800U) {
      text += static_cast<char>(0xC0U | (point >> 6U));
      text += static_cast<char>(0x80U | (point & 0x3FU));
    } else if (point < 0x10000U) {
      text += static_cast<char>(0xE0U | (point >> 12U));
      text += static_cast<char>(0x80U | ((point >> 6U) & 0x3FU));
      text += static_cast<char>(0x80U | (point & 0x3FU));
    } else {
      text += static_cast<char>(0xF0U | (point >> 18U));
      text += static_cast<char>(0x80U | ((point >> 12U) & 0x3FU));
      text += static_cast<char>(0x80U | ((point >> 6U) & 0x3FU));
      text += static_cast<char>(0x80U | (point & 0x3FU));
    }
  }
  return text;
}

int column_count(std::string_view text) { return static_cast<int>(code_points(text).size()); }

std::string note_text(const SheetNote& note) {
  if (note.is_dead) return "x";
  if (!note.position) return "*";
  const std::string fret = fmt::format("{}", note.position->fret);
  return note.is_tied_from_previous ? "(" + fret + ")" : fret;
}

std::string stab_text(const SheetStab& stab, const neck::Position& place) {
  return stab.is_tied_from_previous ? fmt::format("({})", place.fret)
                                    : fmt::format("{}", place.fret);
}

std::string chord_text(const SheetChord& chord) {
  return chord.is_doubt ? chord.text + "?" : chord.text;
}

std::vector<TextSystem> plan_systems(std::span<const SheetBar> bars, int label_columns,
                                     int width_columns) {
  std::vector<TextSystem> systems;
  if (bars.empty()) return systems;
  const int room = width_columns - label_columns;
  const Measure plain = measure(bars, room);

  // A short pick-up stands before the first full system.
  std::size_t first = 0;
  while (first < bars.size() && bars[first].number <= 0) ++first;
  if (first > 0) {
    const std::size_t together = std::min(bars.size(), first + plain.bars_a_system);
    bool is_joined = false;
    for (int base = plain.base; first == 1 && base >= narrowest_beat && !is_joined; --base) {
      Widths widths = natural_widths(bars.first(together), base);
      if (columns_of(widths) > room) continue;
      systems.push_back({0, together, std::move(widths)});
      first = together;
      is_joined = true;
    }
    if (!is_joined) add_fitted(bars, 0, first, plain.base, room, systems);
  }

  const std::span<const SheetBar> rest = bars.subspan(first);
  for (int base = plain.base; base >= narrowest_beat && !rest.empty(); --base) {
    const Widths aligned = aligned_widths(rest, plain.bars_a_system, base);
    const auto line = [&](std::size_t begin) {
      const auto end = std::min(begin + plain.bars_a_system, aligned.size());
      return Widths(aligned.begin() + static_cast<std::ptrdiff_t>(begin),
                    aligned.begin() + static_cast<std::ptrdiff_t>(end));
    };
    if (columns_of(line(0)) > room) continue;
    for (std::size_t i = 0; i < rest.size(); i += plain.bars_a_system) {
      Widths widths = line(i);
      const std::size_t count = widths.size();
      systems.push_back({first + i, count, std::move(widths)});
    }
    return systems;
  }
  for (std::size_t i = first; i < bars.size(); i += plain.bars_a_system) {
    add_fitted(bars, i, std::min(plain.bars_a_system, bars.size() - i), plain.base, room, systems);
  }
  return systems;
}

}  // namespace lowstride::sheet
