#include "src/sheet/remarks.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

/// Within this share of a beat a note is meant to be on it.
constexpr double on_beat_share = 0.15;

/// The bar in which a note is written; nothing where another bar stands for its own, or it is left
/// out.
std::optional<std::size_t> bar_of_note(const SheetLayout& layout, std::size_t note_index) {
  for (std::size_t i = 0; i < layout.bars.size(); ++i) {
    const bool has_it = std::ranges::any_of(layout.bars[i].notes, [&](const SheetNote& note) {
      return note.note_index == note_index && !note.is_tied_from_previous;
    });
    if (has_it) return i;
  }
  return std::nullopt;
}

bool stands_for(const SheetBar& bar, int number) {
  return bar.number == number ||
         std::ranges::find(bar.repeated_numbers, number) != bar.repeated_numbers.end();
}

}  // namespace

std::vector<SheetRemark> remarks_in(const take::Take& take, const SheetLayout& layout) {
  std::vector<SheetRemark> found;
  for (std::size_t i = 0; i < take.remarks.size(); ++i) {
    const take::Remark& remark = take.remarks[i];
    const auto at = take::bar_position(take, static_cast<double>(place_of(take, remark)));
    if (!at) continue;
    int number = at->bar;
    double beat = at->beat;
    if (std::ceil(beat) - beat < on_beat_share) beat = std::ceil(beat);
    const bool is_next_bar = beat >= take.beats_per_bar + 1.0;
    if (is_next_bar) {
      ++number;
      beat = 1.0;
    }
    const auto bar = std::ranges::find_if(
        layout.bars, [number](const SheetBar& one) { return stands_for(one, number); });
    if (bar == layout.bars.end()) continue;
    std::string place = fmt::format("Bar {}", number);
    if (remark.note) {
      const bool is_on = beat - std::floor(beat) < on_beat_share;
      place += fmt::format(", {}beat {:.0f}", is_on ? "" : "after ", std::floor(beat));
    }
    SheetRemark one{static_cast<std::size_t>(bar - layout.bars.begin()), i, std::move(place),
                    remark.text};
    if (remark.note) {
      const auto note = std::ranges::find(take.notes, *remark.note, &take::Note::id);
      one.note_index = static_cast<std::size_t>(note - take.notes.begin());
      if (const auto written_in = bar_of_note(layout, one.note_index)) {
        one.bar_index = *written_in;
        one.number = 1;
      }
    }
    found.push_back(std::move(one));
  }
  std::ranges::stable_sort(found, {}, &SheetRemark::bar_index);
  int number = 0;
  for (SheetRemark& remark : found) {
    if (remark.number > 0) remark.number = ++number;
  }
  return found;
}

std::map<std::size_t, std::string> remark_signs(const std::vector<SheetRemark>& remarks) {
  std::map<std::size_t, std::string> signs;
  for (const SheetRemark& remark : remarks) {
    if (remark.number == 0) continue;
    std::string& sign = signs[remark.note_index];
    if (!sign.empty()) sign.back() = ',';
    sign += fmt::format("{}{})", sign.empty() ? "" : " ", remark.number);
  }
  return signs;
}

std::string remark_line(const SheetRemark& remark) {
  return fmt::format("{}{}: {}",
                     remark.number > 0 ? fmt::format("{}) ", remark.number) : std::string(),
                     remark.place, remark.text);
}

}  // namespace lowstride::sheet
