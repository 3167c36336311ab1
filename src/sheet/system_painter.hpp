#pragma once

#include <span>
#include <string>
#include <vector>

#include "src/sheet/engraving.hpp"
#include "src/sheet/layout.hpp"
#include "src/sheet/staff_painter.hpp"
#include "src/sheet/tab_painter.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// A line of bars on the page before it has its place: its upper left corner is the origin.
struct PaintedSystem {
  std::vector<Mark> marks;
  double height_pt = 0.0;
  bool has_doubtful_chord = false;
};

struct SystemPlace {
  double width_pt = 0.0;
  double stretch = 0.0;   // see EngravedBar
  bool is_first = false;  // shows the meter
  bool is_last = false;   // ends with the final bar line
};

/// Paints systems of one take. `take` and `layout` must outlive the painter.
class SystemPainter {
 public:
  SystemPainter(const take::Take& take, const SheetLayout& layout, StaffKind kind,
                TextMeasure measure);

  /// Room for clef, key and, on the first system, meter.
  [[nodiscard]] double prefix_pt(bool is_first) const;

  [[nodiscard]] PaintedSystem paint(std::span<const EngravedBar> bars, const SystemPlace& place);

  /// What the systems so far used and the page has to explain.
  [[nodiscard]] const TabSigns& signs() const noexcept { return tab_.signs(); }

 private:
  void paint_tab_prefix(double tab_top, bool has_meter, std::vector<Mark>& marks) const;
  void paint_chords(const EngravedBar& bar, const BarPlace& place, double y,
                    PaintedSystem& system) const;
  void paint_lines(std::span<const EngravedBar> bars, double prefix, double staff_top,
                   double tab_top, std::span<const BarPlace> places, bool is_last,
                   std::vector<Mark>& marks) const;
  void paint_repeat(double x, bool is_begin, double staff_top, double tab_top,
                    std::vector<Mark>& marks) const;
  void paint_over_bars(std::span<const EngravedBar> bars, std::span<const BarPlace> places,
                       double y, std::vector<Mark>& marks) const;
  [[nodiscard]] std::string bar_number(const SheetBar& bar, double room) const;

  const take::Take& take_;
  const SheetLayout& layout_;
  StaffKind kind_;
  TextMeasure measure_;
  bool is_bass_ = true;
  StaffPainter staff_;
  TabPainter tab_;
};

}  // namespace lowstride::sheet
