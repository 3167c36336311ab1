#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "src/sheet/engraving.hpp"
#include "src/sheet/layout.hpp"
#include "src/sheet/staff_painter.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// What stands on the lines of a system.
enum class StaffKind : std::uint8_t { staff_and_tab, tab_only };

/// Signs that a page explains at its end.
struct TabSigns {
  bool has_dead = false;
  bool has_doubt = false;
  bool has_held = false;
  bool has_off_neck = false;
  bool has_hammer = false;  // or a pull-off
  bool has_slide = false;
};

/// Paints the tab of a system about its own top line, which is at y = 0: numbers of the line and of
/// the stabs, joints and doubts; without a staff the rhythm too, of the line under the tab and of
/// the stabs over it. Not the lines. `take` and `layout` must outlive the painter.
class TabPainter {
 public:
  TabPainter(const take::Take& take, const SheetLayout& layout, StaffKind kind,
             TextMeasure measure);

  [[nodiscard]] double height_pt() const noexcept;
  /// Room over the top line, and under the lowest one.
  [[nodiscard]] double above_pt() const noexcept;
  [[nodiscard]] double below_pt() const noexcept;

  void begin_system();
  void paint_bar(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);
  [[nodiscard]] const TabSigns& signs() const noexcept { return signs_; }

 private:
  void paint_number(const std::string& text, double x, double y, std::vector<Mark>& marks) const;
  void paint_line(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);
  void paint_stabs(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);
  void paint_signs(const SheetNote& note, double x, std::vector<Mark>& marks);
  void paint_rhythm(const std::vector<WrittenValue>& values, const std::vector<double>& xs,
                    bool is_up, std::vector<Mark>& marks) const;
  [[nodiscard]] double y_of(int string_number) const noexcept;

  const take::Take& take_;
  const SheetLayout& layout_;
  StaffKind kind_;
  TextMeasure measure_;
  bool has_stabs_ = false;
  std::map<std::size_t, std::string> remark_signs_;
  TabSigns signs_;
  struct Number {
    double x = 0.0;
    double y = 0.0;
    double half_width = 0.0;
  };
  std::optional<Number> last_number_;  // of the line, in this system
};

}  // namespace lowstride::sheet
