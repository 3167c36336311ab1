#pragma once

#include <optional>
#include <span>
#include <vector>

#include "src/sheet/engraving.hpp"
#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// Where a bar lies in its system.
struct BarPlace {
  double left_pt = 0.0;
  double right_pt = 0.0;
  std::span<const double> columns_pt;  // centres from the left end on
  bool is_first = false;
  bool is_last = false;
};

/// Paints the staff of a system about its own top line, which is at y = 0: clef, key, meter, heads,
/// stems, rests, ties and joints; not the lines. An arrangement for one guitar has two voices: the
/// stabs with their stems up, the line with its stems down. `take` and `layout` must outlive the
/// painter.
class StaffPainter {
 public:
  StaffPainter(const take::Take& take, const SheetLayout& layout);

  /// Room that the key signature takes.
  [[nodiscard]] double signature_pt() const noexcept;
  void paint_prefix(bool has_meter, std::vector<Mark>& marks) const;

  void begin_system();
  void paint_bar(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);

 private:
  struct Tie {
    Point from;
    bool is_above = false;
  };
  /// The heads of one value from the highest to the lowest; nothing for a rest.
  struct Stack {
    double high_y = 0.0;
    double low_y = 0.0;
  };
  using Stacks = std::vector<std::optional<Stack>>;

  void paint_heads(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks) const;
  void paint_rests(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks) const;
  void paint_line_curves(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);
  void paint_stab_ties(const EngravedBar& bar, const BarPlace& place, std::vector<Mark>& marks);
  /// `is_up`: nothing = by the place of the heads.
  void paint_stems(const std::vector<WrittenValue>& values, const std::vector<double>& xs,
                   const Stacks& stacks, std::optional<bool> is_up, std::vector<Mark>& marks) const;
  [[nodiscard]] Stacks stacks_of(const EngravedBar& bar, bool is_stab) const;
  [[nodiscard]] double y_of(int diatonic) const noexcept;
  [[nodiscard]] bool bows_up(double y) const noexcept;

  const take::Take& take_;
  const SheetLayout& layout_;
  bool is_bass_ = true;
  bool has_stabs_ = false;
  int signature_ = 0;
  std::optional<Tie> open_tie_;      // from the bar before, in this system
  std::vector<Tie> open_stab_ties_;  // of a stab that is held over a bar line,
                                     // lowest head first
  std::optional<Point> last_head_;   // of the line, in this system
};

/// X of every value of a bar's line, and of its stabs (of their stems' heads).
[[nodiscard]] std::vector<double> line_places(const EngravedBar& bar, const BarPlace& place);
[[nodiscard]] std::vector<double> stab_places(const EngravedBar& bar, const BarPlace& place);

/// True when nothing sounds in a bar.
[[nodiscard]] bool is_silent(const EngravedBar& bar);

/// The last of the values that form one tuplet with `first`.
[[nodiscard]] std::size_t tuplet_end(const std::vector<WrittenValue>& values, std::size_t first);

}  // namespace lowstride::sheet
