#include "src/sheet/chord_grids.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "src/sheet/engraving.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::sheet {
namespace {

constexpr double string_distance = 4.6;
constexpr double fret_distance = 6.4;
constexpr double left_margin = 9.0;  // for the fret's number
constexpr double frets_top = 21.0;   // under name and signs
constexpr double name_baseline = 9.0;
constexpr double sign_baseline = frets_top - 2.2;
constexpr double dot_radius = 1.75;
constexpr int fewest_frets = 4;
constexpr TextStyle sign_style{Face::sans, 5.6};
constexpr TextStyle finger_style{Face::sans, 5.2};

/// The frets that a grid shows.
struct Window {
  int first = 1;
  int count = fewest_frets;
};

Window window_of(const ChordGrid& grid) noexcept {
  int lowest = 0;
  int highest = 0;
  for (const neck::Position& place : grid.positions) {
    if (place.fret == 0) continue;
    lowest = lowest == 0 ? place.fret : std::min(lowest, place.fret);
    highest = std::max(highest, place.fret);
  }
  Window window;
  if (highest > fewest_frets) window.first = lowest;
  window.count = std::max(fewest_frets, highest - window.first + 1);
  return window;
}

/// The name that the sheet has for the chord under a stab.
std::string name_under(const take::Take& take, const take::Stab& stab) {
  // A stab struck a little before a change belongs to the new chord.
  const std::int64_t early = take.time_base_hz / 20;
  const auto after = std::ranges::upper_bound(take.chords, stab.onset_samples + early, {},
                                              &take::ChordSpan::begin_samples);
  return after == take.chords.begin() ? std::string() : chord_name(take, *std::prev(after));
}

void add_number(const std::string& text, Point place, const TextStyle& style, Align align,
                std::vector<Mark>& marks) {
  marks.emplace_back(TextMark{place, text, style, align});
}

/// Whatever the fingers: the same strings at the same frets.
bool is_same_shape(const std::vector<neck::Position>& a, const std::vector<neck::Position>& b) {
  return std::ranges::equal(a, b, [](const neck::Position& one, const neck::Position& other) {
    return one.string_number == other.string_number && one.fret == other.fret;
  });
}

}  // namespace

std::vector<ChordGrid> used_grids(const take::Take& take, const SheetLayout& layout,
                                  std::size_t most_count) {
  std::vector<ChordGrid> grids;
  for (const SheetBar& bar : layout.bars) {
    for (const SheetStab& stab : bar.stabs) {
      if (stab.is_tied_from_previous) continue;
      const std::string name = name_under(take, take.stabs[stab.stab_index]);
      const auto known = std::ranges::find_if(grids, [&](const ChordGrid& grid) {
        return grid.name == name && is_same_shape(grid.positions, stab.positions);
      });
      if (known == grids.end()) {
        grids.push_back({name, stab.positions, 1});
      } else {
        ++known->times;
      }
    }
  }
  if (grids.size() <= most_count) return grids;
  std::vector<std::size_t> order(grids.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::ranges::stable_sort(order, std::ranges::greater{},
                           [&grids](std::size_t i) { return grids[i].times; });
  order.resize(most_count);
  std::ranges::sort(order);
  std::vector<ChordGrid> kept;
  kept.reserve(order.size());
  for (const std::size_t i : order) kept.push_back(grids[i]);
  return kept;
}

double chord_grid_height_pt(const std::vector<ChordGrid>& grids) noexcept {
  int frets = fewest_frets;
  for (const ChordGrid& grid : grids) frets = std::max(frets, window_of(grid).count);
  return frets_top + fret_distance * frets + 12.0;
}

std::vector<Mark> chord_grid_marks(const ChordGrid& grid, const neck::Neck& neck,
                                   const TextMeasure& measure) {
  std::vector<Mark> marks;
  const int strings = neck.string_count();
  const Window window = window_of(grid);
  const double right = left_margin + string_distance * (strings - 1);
  const double bottom = frets_top + fret_distance * window.count;
  const auto x_of = [&](int string_number) {
    return left_margin + string_distance * (strings - string_number);
  };
  const auto y_of = [&](int fret) {
    return frets_top + fret_distance * (fret - window.first + 0.5);
  };
  // Names are set as over the bars, smaller where they would run into the next grid.
  ChordName name = chord_name_parts(grid.name);
  const double width = chord_name_width(name, measure);
  const double centre = 0.5 * (left_margin + right);
  if (width <= chord_grid_width_pt - 3.0) {
    (void)add_chord_name(name, {centre - 0.5 * width, name_baseline}, 0.0, measure, marks);
  } else {
    const TextStyle style{Face::sans_bold, 11.5 * (chord_grid_width_pt - 3.0) / width};
    add_number(name.root + name.kind + name.bass, {centre, name_baseline}, style, Align::center,
               marks);
  }
  for (int string = 1; string <= strings; ++string) {
    marks.emplace_back(LineMark{{x_of(string), frets_top}, {x_of(string), bottom}, 0.5});
  }
  for (int i = 0; i <= window.count; ++i) {
    const double y = frets_top + fret_distance * i;
    const bool is_nut = i == 0 && window.first == 1;
    marks.emplace_back(LineMark{{left_margin - 0.25, y}, {right + 0.25, y}, is_nut ? 1.8 : 0.5});
  }
  if (window.first > 1) {
    add_number(fmt::format("{}", window.first), {left_margin - 3.0, y_of(window.first) + 2.0},
               sign_style, Align::right, marks);
  }
  for (int string = 1; string <= strings; ++string) {
    const auto place = std::ranges::find(grid.positions, string, &neck::Position::string_number);
    if (place == grid.positions.end()) {
      add_number("x", {x_of(string), sign_baseline}, sign_style, Align::center, marks);
    } else if (place->fret == 0) {
      add_number("o", {x_of(string), sign_baseline}, sign_style, Align::center, marks);
    } else {
      marks.emplace_back(ellipse({x_of(string), y_of(place->fret)}, dot_radius, dot_radius));
      if (place->finger > 0) {
        add_number(fmt::format("{}", place->finger), {x_of(string), bottom + 6.2}, finger_style,
                   Align::center, marks);
      }
    }
  }
  for (int finger = 1; finger <= 4; ++finger) {
    int lowest = 0;  // strings that it stops
    int highest = 0;
    int fret = 0;
    for (const neck::Position& place : grid.positions) {
      if (place.finger != finger || place.fret == 0) continue;
      if (lowest == 0) lowest = place.string_number;
      highest = place.string_number;
      fret = place.fret;
    }
    if (lowest == highest) continue;
    marks.emplace_back(
        LineMark{{x_of(lowest), y_of(fret)}, {x_of(highest), y_of(fret)}, 2.0 * dot_radius});
  }
  return marks;
}

}  // namespace lowstride::sheet
