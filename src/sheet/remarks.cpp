#include "src/sheet/remarks.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

/// Within this share of a beat a note is meant to be on it.
constexpr double on_beat_share = 0.15;

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
    found.push_back(
        {static_cast<std::size_t>(bar - layout.bars.begin()), i, std::move(place), remark.text});
  }
  std::ranges::stable_sort(found, {}, &SheetRemark::bar_index);
  return found;
}

}  // namespace lowstride::sheet
