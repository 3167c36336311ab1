#include "src/sheet/pages.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/chord_grids.hpp"
#include "src/sheet/excerpt.hpp"
#include "src/sheet/page_bounds.hpp"
#include "src/sheet/remarks.hpp"
#include "src/sheet/text_columns.hpp"
#include "src/take/harmony.hpp"

namespace lowstride::sheet {
namespace {

constexpr double side_margin = 42.0;
constexpr double top_margin = 40.0;
constexpr double bottom_margin = 44.0;
constexpr double remark_gap = 3.0;
constexpr double remark_line_height = 12.0;
constexpr double widest_stretch = 46.0;       // a quarter never takes more
constexpr double comfortable_stretch = 18.5;  // bars are put on a line while a quarter has this
constexpr std::size_t usual_bars_a_system = 4;
constexpr std::size_t most_lines_to_tighten = 16;  // no spacing brings more onto a page
constexpr double legend_gap = 14.0;
constexpr double least_legend_gap = 8.0;
constexpr double legend_line_height = 11.0;

/// How large systems are and how far apart.
struct Spacing {
  double scale = 1.0;  // of the staff that engraving.hpp describes, 7 mm high
  double gap = 20.0;
};

/// What a section that runs over its page by a few lines is set in instead, the first that brings
/// it onto one page: closer lines, then staves of 6.5 and 6 mm, which solo and choral music is
/// printed in (common practice; E. Gould, Behind Bars, 2011, "Stave sizes", from memory). Smaller
/// than that, frets are hard to read from a stand: such a section keeps the first spacing and its
/// pages.
constexpr std::array<Spacing, 4> spacings{{{1.0, 20.0}, {1.0, 11.0}, {0.92, 10.0}, {0.84, 8.0}}};

constexpr TextStyle title_style{Face::serif_bold, 20.0};
constexpr TextStyle subtitle_style{Face::serif_italic, 12.0};
constexpr TextStyle fact_style{Face::serif, 9.5};
constexpr TextStyle remark_style{Face::serif_italic, 9.5};
constexpr TextStyle legend_style{Face::serif, 8.0};
constexpr TextStyle footer_style{Face::serif, 8.0};

struct Paper {
  double width = 0.0;
  double height = 0.0;
};

Paper paper_of(PaperSize size) {
  constexpr double points_a_mm = 72.0 / 25.4;
  if (size == PaperSize::letter) return {8.5 * 72.0, 11.0 * 72.0};
  return {210.0 * points_a_mm, 297.0 * points_a_mm};
}

/// Facts on the right, under the composer: what to tune to.
std::vector<std::string> neck_facts(const take::Take& take) {
  std::vector<std::string> facts;
  if (!neck::is_standard_tuning(take.neck)) {
    facts.push_back("Tuning " + neck::tuning_text(take.neck) + " (low to high)");
  }
  if (take.neck.capo > 0) facts.push_back(fmt::format("Capo at fret {}", take.neck.capo));
  if (take.octave_shift != 0) {
    facts.push_back(fmt::format("{} octave{} higher than in the recording", take.octave_shift,
                                take.octave_shift == 1 ? "" : "s"));
  }
  return facts;
}

class SectionWriter {
 public:
  SectionWriter(const PageSection& section, const PageOptions& options, const TextMeasure& measure,
                std::vector<Page>& pages)
      : section_(section), options_(options), measure_(measure), pages_(pages) {
    const Paper paper = paper_of(options.paper);
    width_ = paper.width;
    height_ = paper.height;
  }

  [[nodiscard]] Result<void> write() {
    LayoutOptions layout_options = options_.layout;
    if (section_.stretch) layout_options.stretch = section_.stretch;
    layout_ = lay_out(section_.take, layout_options);
    if (layout_.bars.empty()) {
      return fail(ErrorCode::invalid_argument,
                  layout_.tempo_bpm
                      ? "There is nothing in the bars asked for; ask for bars that the take has."
                      : "The take has no beats, so it cannot be written in bars; say where they "
                        "are first, or export it as text or MIDI.");
    }
    remarks_ = remarks_in(section_.take, layout_);
    begin_page();
    write_heading();
    write_grids();
    write_systems();
    return {};
  }

 private:
  [[nodiscard]] Page& page() { return pages_.back(); }
  [[nodiscard]] double line_width() const { return width_ - 2.0 * side_margin; }

  void begin_page() {
    pages_.push_back({width_, height_, {}});
    y_ = top_margin;
  }
  void text(double x, double y, const std::string& words, const TextStyle& style, Align align) {
    if (!words.empty()) page().marks.emplace_back(TextMark{{x, y}, words, style, align});
  }

  /// A title too wide for its line is set smaller, and cut where even that is not enough.
  void title(const std::string& words) {
    TextStyle style = title_style;
    std::string shown = words;
    while (style.size_pt > 11.0 && measure_(shown, style) > line_width()) style.size_pt -= 1.0;
    std::u32string points = code_points(shown);
    while (points.size() > 1 && measure_(utf8(points) + "…", style) > line_width()) {
      points.pop_back();
      shown = utf8(points) + "…";
    }
    text(0.5 * width_, y_ + 18.0, shown, style, Align::center);
    y_ += 26.0;
  }

  void write_heading() {
    const take::Take& take = section_.take;
    if (!take.title.empty()) title(take.title);
    if (!section_.subtitle.empty()) {
      text(0.5 * width_, y_ + 11.0, section_.subtitle, subtitle_style, Align::center);
      y_ += 17.0;
    }
    if (!take.title.empty() || !section_.subtitle.empty()) y_ += 6.0;
    const double left = side_margin;
    const double right = width_ - side_margin;
    double left_y = y_ + 9.0;
    double right_y = y_ + 9.0;
    if (layout_.tempo_bpm) {
      // A quarter note as a sign, drawn, and its tempo.
      const double head_x = left + 3.0;
      page().marks.emplace_back(ellipse({head_x, left_y - 2.2}, 2.7, 1.8, 0.36));
      page().marks.emplace_back(
          LineMark{{head_x + 2.4, left_y - 2.8}, {head_x + 2.4, left_y - 12.0}, 0.6});
      std::string words = fmt::format("= {:.0f}", *layout_.tempo_bpm);
      if (layout_.swing_ratio) words += fmt::format("   Swing {:.1f} : 1", *layout_.swing_ratio);
      text(left + 10.0, left_y, words, fact_style, Align::left);
      left_y += 13.0;
    }
    std::vector<std::string> facts;
    if (const auto key = key_of(take))
      facts.push_back("Key of " + with_print_signs(theory::key_text(*key)));
    if (!take.form.empty()) facts.push_back(take.form);
    if (!facts.empty()) {
      text(left, left_y, fmt::format("{}", fmt::join(facts, ", ")), fact_style, Align::left);
      left_y += 13.0;
    }
    if (!take.composer.empty()) {
      text(right, right_y, take.composer, fact_style, Align::right);
      right_y += 13.0;
    }
    for (const std::string& fact : neck_facts(take)) {
      text(right, right_y, fact, fact_style, Align::right);
      right_y += 13.0;
    }
    y_ = std::max({left_y, right_y, y_}) + 6.0;
  }

  /// The shapes of an arrangement's stabs, two rows of them at most.
  void write_grids() {
    const auto in_a_row = static_cast<std::size_t>(line_width() / chord_grid_width_pt);
    const auto grids = used_grids(section_.take, layout_, 2 * in_a_row);
    if (grids.empty()) return;
    const double height = chord_grid_height_pt(grids);
    // Rows of one length, centred.
    const std::size_t rows = (grids.size() + in_a_row - 1) / in_a_row;
    const std::size_t length = (grids.size() + rows - 1) / rows;
    for (std::size_t i = 0; i < grids.size(); ++i) {
      const std::size_t row = i / length;
      const std::size_t in_row = std::min(length, grids.size() - row * length);
      const double row_left = 0.5 * (width_ - chord_grid_width_pt * static_cast<double>(in_row));
      auto marks = chord_grid_marks(grids[i], section_.take.neck, measure_);
      move(marks, row_left + chord_grid_width_pt * static_cast<double>(i % length),
           y_ + height * static_cast<double>(row));
      page().marks.insert(page().marks.end(), marks.begin(), marks.end());
    }
    y_ += height * static_cast<double>(rows) + 8.0;
  }

  /// A system with the remarks under it, as it will stand on the page.
  struct Line {
    std::vector<Mark> marks;
    double height_pt = 0.0;  // of the system alone
    std::vector<std::string> remarks;

    [[nodiscard]] double whole_height_pt() const {
      return height_pt + (remarks.empty() ? 0.0
                                          : remark_gap + remark_line_height *
                                                             static_cast<double>(remarks.size()));
    }
  };

  /// All systems of the section in one spacing, with what they have to have explained.
  struct Setting {
    std::vector<Line> lines;
    double gap = 0.0;
    std::vector<std::string> legend;
  };

  [[nodiscard]] Setting set_systems(const std::vector<EngravedBar>& bars,
                                    const Spacing& spacing) const {
    Setting setting;
    setting.gap = spacing.gap;
    SystemPainter painter(section_.take, layout_, options_.staff, measure_);
    bool has_doubtful_chord = false;
    double before = comfortable_stretch;
    for (std::size_t begin = 0; begin < bars.size();) {
      SystemPlace place;
      place.is_first = begin == 0;
      place.width_pt = line_width() / spacing.scale;
      const double room = place.width_pt - painter.prefix_pt(place.is_first);
      const std::size_t count = bars_that_fit(bars, begin, room, layout_.bars.front().number <= 0);
      const std::span<const EngravedBar> line(&bars[begin], count);
      place.is_last = begin + count == bars.size();
      const double full = stretch_for(line, room);
      // A short last line is not pulled apart: it goes on as the lines above it.
      const bool is_short = place.is_last && count < usual_bars_a_system;
      place.stretch = std::min(is_short ? std::min(full, before) : full, widest_stretch);
      before = place.stretch;
      PaintedSystem system = painter.paint(line, place);
      scale(system.marks, spacing.scale);
      setting.lines.push_back({std::move(system.marks), spacing.scale * system.height_pt,
                               remark_lines(begin, begin + count)});
      has_doubtful_chord = has_doubtful_chord || system.has_doubtful_chord;
      begin += count;
    }
    setting.legend = legend_lines(painter.signs(), has_doubtful_chord);
    return setting;
  }

  /// Whether systems and legend end on the page on which they begin.
  [[nodiscard]] bool fits(const Setting& setting) const {
    double bottom = y_ - setting.gap;
    for (const Line& line : setting.lines) bottom += line.whole_height_pt() + setting.gap;
    if (!setting.legend.empty()) {
      bottom += least_legend_gap + legend_line_height * static_cast<double>(setting.legend.size());
    }
    return bottom <= height_ - bottom_margin;
  }

  void write_systems() {
    const auto pitches = written_pitches(section_.take, layout_);
    std::vector<EngravedBar> bars;
    bars.reserve(layout_.bars.size());
    for (std::size_t i = 0; i < layout_.bars.size(); ++i) {
      bars.push_back(engrave_bar(layout_.bars[i], i, pitches[i], measure_));
    }
    Setting chosen = set_systems(bars, spacings.front());
    // A tune of two pages and more stays as it is, and is not set four times over to find that out.
    const bool is_near = chosen.lines.size() <= most_lines_to_tighten;
    for (std::size_t i = 1; i < spacings.size() && is_near && !fits(chosen); ++i) {
      Setting tighter = set_systems(bars, spacings[i]);
      if (fits(tighter)) chosen = std::move(tighter);
    }
    for (Line& line : chosen.lines) {
      if (y_ + line.whole_height_pt() > height_ - bottom_margin && !page().marks.empty()) {
        begin_page();
      }
      move(line.marks, side_margin, y_);
      std::ranges::move(line.marks, std::back_inserter(page().marks));
      line.marks = {};  // a long tune is not held twice
      double remark_y = y_ + line.height_pt + remark_gap;
      for (const std::string& words : line.remarks) {
        remark_y += remark_line_height;
        text(side_margin, remark_y, words, remark_style, Align::left);
      }
      y_ += line.whole_height_pt() + chosen.gap;
    }
    write_legend(chosen);
  }

  /// The remarks about some bars, as lines of the page's width.
  [[nodiscard]] std::vector<std::string> remark_lines(std::size_t begin_bar,
                                                      std::size_t end_bar) const {
    std::vector<std::string> lines;
    for (const SheetRemark& remark : remarks_) {
      if (remark.bar_index < begin_bar || remark.bar_index >= end_bar) continue;
      auto broken = broken_into_lines(remark_line(remark), [this](const std::string& line) {
        return measure_(line, remark_style) <= line_width();
      });
      lines.insert(lines.end(), broken.begin(), broken.end());
    }
    return lines;
  }

  /// Four bars, and a pick-up or a last one more, or as many as are not crowded; one at least.
  [[nodiscard]] static std::size_t bars_that_fit(const std::vector<EngravedBar>& bars,
                                                 std::size_t begin, double room, bool has_pickup) {
    std::size_t most = usual_bars_a_system;
    has_pickup = has_pickup && begin == 0 && bars[0].width_pt(comfortable_stretch) < 0.25 * room;
    if (has_pickup) ++most;
    std::size_t count = 0;
    double width = 0.0;
    while (count < most && begin + count < bars.size()) {
      width += bars[begin + count].width_pt(comfortable_stretch);
      if (count > 0 && width > room) break;
      ++count;
    }
    // One bar left over is no line of its own where there is room for it.
    if (count == usual_bars_a_system && begin + count + 1 == bars.size() &&
        width + bars[begin + count].width_pt(comfortable_stretch) <= room) {
      ++count;
    }
    // Three bars and a lone one read worse than two and two.
    return count == 3 && begin + count < bars.size() ? 2 : count;
  }

  /// What the signs mean that were used, and what is left out.
  [[nodiscard]] std::vector<std::string> legend_lines(const TabSigns& used,
                                                      bool has_doubtful_chord) const {
    std::vector<std::string> lines;
    std::vector<std::string> signs;
    if (used.has_dead) signs.emplace_back("x  dead note");
    if (used.has_held) signs.emplace_back("( )  held over");
    if (used.has_hammer) signs.emplace_back("H, P  hammered on, pulled off");
    if (used.has_slide) signs.emplace_back("a line between two numbers: a slide");
    if (used.has_doubt || has_doubtful_chord) signs.emplace_back("?  in doubt");
    if (used.has_off_neck) signs.emplace_back("*  not on this neck");
    if (!signs.empty()) lines.push_back(fmt::format("{}", fmt::join(signs, "     ")));
    if (layout_.swing_ratio) {
      lines.push_back(fmt::format(
          "Swing: of two eighths in a beat the first is long and the second short, {:.1f} : 1.",
          *layout_.swing_ratio));
    }
    if (!layout_.crowded.empty()) {
      lines.push_back(fmt::format("{} notes lie too close together to be written and are left out.",
                                  layout_.crowded.size()));
    }
    if (layout_.stabs_left_out > 0) {
      lines.push_back(fmt::format("{} stabs find no place in the bars and are left out.",
                                  layout_.stabs_left_out));
    }
    const bool is_whole = !section_.stretch && !asks_for_part(options_.layout);
    if (!layout_.unbarred.empty() && is_whole) {
      lines.push_back(
          fmt::format("{} notes lie outside the bars and are left out.", layout_.unbarred.size()));
    }
    return lines;
  }

  void write_legend(const Setting& setting) {
    if (setting.legend.empty()) return;
    const double height = legend_line_height * static_cast<double>(setting.legend.size());
    const double bottom = y_ - setting.gap;
    if (bottom + least_legend_gap + height > height_ - bottom_margin) {
      begin_page();
    } else {
      y_ = std::min(bottom + legend_gap, height_ - bottom_margin - height);
    }
    for (const std::string& words : setting.legend) {
      y_ += legend_line_height;
      text(side_margin, y_, words, legend_style, Align::left);
    }
  }

  const PageSection& section_;
  const PageOptions& options_;
  const TextMeasure& measure_;
  std::vector<Page>& pages_;
  double width_ = 0.0;
  double height_ = 0.0;
  double y_ = 0.0;
  SheetLayout layout_;
  std::vector<SheetRemark> remarks_;
};

}  // namespace

Result<std::vector<Page>> lay_out_pages(const std::vector<PageSection>& sections,
                                        const PageOptions& options, const TextMeasure& measure) {
  std::vector<Page> pages;
  for (const PageSection& section : sections) {
    if (const auto done = SectionWriter(section, options, measure, pages).write(); !done) {
      return tl::unexpected(done.error());
    }
  }
  for (std::size_t i = 0; i < pages.size() && pages.size() > 1; ++i) {
    Page& page = pages[i];
    const double y = page.height_pt - bottom_margin + 20.0;
    const std::string& title = sections.front().take.title;
    if (i > 0 && !title.empty()) {
      page.marks.emplace_back(TextMark{{side_margin, y}, title, footer_style, Align::left, 0.3});
    }
    page.marks.emplace_back(TextMark{{page.width_pt - side_margin, y},
                                     fmt::format("{} / {}", i + 1, pages.size()),
                                     footer_style,
                                     Align::right,
                                     0.3});
  }
  return pages;
}

}  // namespace lowstride::sheet
