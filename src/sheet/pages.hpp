#pragma once

#include <optional>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/sheet/layout.hpp"
#include "src/sheet/page.hpp"
#include "src/sheet/system_painter.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

enum class PaperSize : std::uint8_t { a4, letter };

struct PageOptions {
  PaperSize paper = PaperSize::a4;  // 210 x 297 mm (ISO 216), or 8.5 x 11 in
  StaffKind staff = StaffKind::staff_and_tab;
  LayoutOptions layout;
};

/// One part of a sheet that begins a new page: the line itself, or a level of it.
struct PageSection {
  take::Take take;
  std::string subtitle = {};                            // "Level 2: roots with walk-ups"
  std::optional<take::Stretch> stretch = std::nullopt;  // of this take, in place of the options'
};

/// The sections as printed pages: heading (title, composer, tempo, swing, key, form, tuning, capo),
/// grids of the shapes that an arrangement strikes, systems of four bars where these fit, bar
/// numbers, chord names, passages, and under the last system what the signs mean. Pages are
/// numbered where there is more than one. A pure function: the same takes give the same marks.
/// Errors: invalid_argument for a take without a grid, or where nothing lies in the bars asked for.
[[nodiscard]] Result<std::vector<Page>> lay_out_pages(const std::vector<PageSection>& sections,
                                                      const PageOptions& options,
                                                      const TextMeasure& measure);

}  // namespace lowstride::sheet
