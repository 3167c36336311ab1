#pragma once

#include <optional>
#include <span>
#include <vector>

#include "src/sheet/engraving.hpp"
#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// What stands on the lines of a system.
enum class StaffKind : std::uint8_t { staff_and_tab, tab_only };

/// A line of bars on the page before it has its place: its upper left corner is the origin.
struct PaintedSystem {
  std::vector<Mark> marks;
  double height_pt = 0.0;
  bool has_dead = false;  // signs that the page explains at its end
  bool has_doubt = false;
  bool has_held = false;
  bool has_off_neck = false;
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

 private:
  void paint_prefix(bool is_first, std::vector<Mark>& marks) const;
  void paint_bar_on_staff(const EngravedBar& bar, double left, const std::vector<double>& places,
                          double right, bool is_first, bool is_last, std::vector<Mark>& marks);
  void paint_head(const SheetBar& bar, const EngravedBar& engraved, const WrittenValue& value,
                  double x, std::vector<Mark>& marks) const;
  void paint_stems(const EngravedBar& engraved, const std::vector<double>& xs,
                   std::vector<Mark>& marks) const;
  void paint_tab_bar(const EngravedBar& bar, double left, const std::vector<double>& places,
                     double right, double top, PaintedSystem& system) const;
  void paint_tab_rhythm(const EngravedBar& bar, const std::vector<double>& xs, double right,
                        double top, std::vector<Mark>& marks) const;
  void paint_lines(std::span<const EngravedBar> bars, double prefix, double staff_top,
                   double tab_top, std::span<const double> bar_lines, bool is_last,
                   std::vector<Mark>& marks) const;
  void paint_repeat(double x, bool is_begin, double staff_top, double tab_top,
                    std::vector<Mark>& marks) const;
  void paint_over_bars(std::span<const EngravedBar> bars, std::span<const double> lefts,
                       std::span<const double> bar_lines, double y, std::vector<Mark>& marks) const;
  [[nodiscard]] double y_of(const WrittenPitch& pitch) const;
  [[nodiscard]] double tab_height() const;

  const take::Take& take_;
  const SheetLayout& layout_;
  StaffKind kind_;
  TextMeasure measure_;
  bool is_bass_ = true;
  int signature_ = 0;
  std::optional<Point> open_tie_;  // from the bar before, in this system
  bool is_tie_above_ = false;
};

}  // namespace lowstride::sheet
