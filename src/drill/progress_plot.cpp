#include <algorithm>
#include <cmath>
#include <memory>
#include <string>
#include <vector>

#include <cairo-svg.h>
#include <cairo.h>
#include <fmt/format.h>
#include <pango/pangocairo.h>

#include "src/base/atomic_file.hpp"
#include "src/drill/progress.hpp"

namespace lowstride::drill {
namespace {

// All in points of the drawing; PNG has two pixels to a point.
constexpr double page_width = 920.0;
constexpr double margin = 28.0;
constexpr double gap = 36.0;
constexpr double panel_width = (page_width - 2.0 * margin - gap) / 2.0;
constexpr double row_height = 26.0;
constexpr double bar_height = 9.0;
constexpr double title_height = 30.0;
constexpr double name_width = 150.0;
constexpr double cell_size = 24.0;
constexpr double table_name_width = 160.0;

struct Colour {
  double red = 0.0;
  double green = 0.0;
  double blue = 0.0;
};
constexpr Colour ink{0.13, 0.15, 0.18};
constexpr Colour faint{0.45, 0.48, 0.52};
constexpr Colour track{0.93, 0.93, 0.91};
constexpr Colour early{0.76, 0.66, 0.47};
constexpr Colour late{0.11, 0.37, 0.42};
constexpr Colour wrong{0.72, 0.30, 0.22};

struct CairoGuard {
  void operator()(cairo_t* context) const noexcept { cairo_destroy(context); }
};
struct SurfaceGuard {
  void operator()(cairo_surface_t* surface) const noexcept { cairo_surface_destroy(surface); }
};
struct ObjectGuard {
  void operator()(void* object) const noexcept { g_object_unref(object); }
};
struct FontGuard {
  void operator()(PangoFontDescription* font) const noexcept { pango_font_description_free(font); }
};

class Pen {
 public:
  explicit Pen(cairo_t* context) : context_(context) {}

  void box(double x, double y, double width, double height, const Colour& colour,
           double alpha = 1.0) {
    cairo_set_source_rgba(context_, colour.red, colour.green, colour.blue, alpha);
    cairo_rectangle(context_, x, y, width, height);
    cairo_fill(context_);
  }

  enum class Align { left, right, centre };
  /// `x` is the text's left end, right end or centre; `y` its top.
  void text(double x, double y, const std::string& words, double size, const Colour& colour,
            Align align = Align::left, bool is_bold = false, double angle = 0.0) {
    const std::unique_ptr<PangoLayout, ObjectGuard> layout(pango_cairo_create_layout(context_));
    const std::unique_ptr<PangoFontDescription, FontGuard> font(
        pango_font_description_from_string("DejaVu Sans"));
    pango_font_description_set_absolute_size(font.get(), size * PANGO_SCALE);
    if (is_bold) pango_font_description_set_weight(font.get(), PANGO_WEIGHT_BOLD);
    pango_layout_set_font_description(layout.get(), font.get());
    pango_layout_set_text(layout.get(), words.c_str(), static_cast<int>(words.size()));
    int width = 0;
    int height = 0;
    pango_layout_get_pixel_size(layout.get(), &width, &height);
    const double shift = align == Align::left ? 0.0 : align == Align::right ? width : 0.5 * width;
    cairo_save(context_);
    cairo_set_source_rgb(context_, colour.red, colour.green, colour.blue);
    cairo_move_to(context_, x, y);
    if (angle != 0.0) cairo_rotate(context_, angle);
    cairo_rel_move_to(context_, -shift, 0.0);
    pango_cairo_show_layout(context_, layout.get());
    cairo_restore(context_);
  }

 private:
  cairo_t* context_;
};

struct Panel {
  std::string title;
  const std::vector<Tally>* tallies = nullptr;
};

double panel_height(const Panel& panel) {
  return title_height +
         row_height * static_cast<double>(std::max<std::size_t>(1, panel.tallies->size())) +
         gap / 2.0;
}

double share(int right, int count) { return count == 0 ? 0.0 : static_cast<double>(right) / count; }

void draw_panel(Pen& pen, const Panel& panel, double x, double y) {
  pen.text(x, y, panel.title, 13.0, ink, Pen::Align::left, true);
  y += title_height;
  if (panel.tallies->empty()) {
    pen.text(x, y, "nothing yet", 11.0, faint);
    return;
  }
  const double bars_width = panel_width - name_width - 74.0;
  for (const Tally& tally : *panel.tallies) {
    const double left = x + name_width;
    pen.text(left - 8.0, y + 2.0, tally.name, 11.0, ink, Pen::Align::right);
    pen.box(left, y, bars_width, 2.0 * bar_height + 1.0, track);
    pen.box(left, y, bars_width * share(tally.early_right, tally.early_count), bar_height, early);
    pen.box(left, y + bar_height + 1.0, bars_width * share(tally.late_right, tally.late_count),
            bar_height, late);
    pen.text(left + bars_width + 6.0, y + 2.0,
             fmt::format("{:.0f} % of {}", 100.0 * tally.share_right(), tally.count()), 10.0,
             faint);
    y += row_height;
  }
}

double table_height(const Confusion& table) {
  const auto rows = static_cast<double>(table.names.size());
  return table.names.empty() ? title_height + row_height
                             : title_height + 118.0 + cell_size * rows + gap / 2.0;
}

void draw_table(Pen& pen, const Confusion& table, const std::string& title, double x, double y) {
  constexpr double slant = -0.9;
  pen.text(x, y, title, 13.0, ink, Pen::Align::left, true);
  y += title_height;
  if (table.names.empty()) {
    pen.text(x, y, "nothing yet", 11.0, faint);
    return;
  }
  const double top = y + 112.0;
  const double left = x + table_name_width;
  for (std::size_t row = 0; row < table.names.size(); ++row) {
    const double at = static_cast<double>(row);
    int sum = 0;
    for (const int count : table.counts[row]) sum += count;
    pen.text(left - 8.0, top + at * cell_size + 5.0, table.names[row], 10.0, ink,
             Pen::Align::right);
    pen.text(left + at * cell_size + 4.0, top - 8.0 - 6.0, table.names[row], 10.0, ink,
             Pen::Align::left, false, slant);
    for (std::size_t column = 0; column < table.names.size(); ++column) {
      const double cell_x = left + static_cast<double>(column) * cell_size;
      const double cell_y = top + at * cell_size;
      pen.box(cell_x, cell_y, cell_size - 1.0, cell_size - 1.0, track);
      const int count = table.counts[row][column];
      if (count == 0) continue;
      const double part = share(count, sum);
      pen.box(cell_x, cell_y, cell_size - 1.0, cell_size - 1.0, row == column ? late : wrong,
              0.25 + 0.75 * part);
      pen.text(cell_x + 0.5 * cell_size, cell_y + 5.0, fmt::format("{}", count), 10.0,
               part > 0.4 ? Colour{1.0, 1.0, 1.0} : ink, Pen::Align::centre);
    }
  }
}

struct Page {
  std::vector<Panel> left;
  std::vector<Panel> right;
  const Progress* progress = nullptr;
  std::string player;
  std::string roles_title = "Roles: what was answered (columns) for what was played";
  std::string notes_title = "Notes: what was answered (columns) for what was played";
  std::string chords_title = "Chords: what was answered (columns) for what was played";

  [[nodiscard]] double head_height() const { return 74.0; }
  [[nodiscard]] double columns_height() const {
    double heights[2] = {0.0, 0.0};
    for (const Panel& panel : left) heights[0] += panel_height(panel);
    for (const Panel& panel : right) heights[1] += panel_height(panel);
    return std::max(heights[0], heights[1]);
  }
  [[nodiscard]] double height() const {
    return margin + head_height() + columns_height() + table_height(progress->roles) +
           table_height(progress->notes) + table_height(progress->chords) + margin;
  }

  void draw(cairo_t* context) const {
    Pen pen(context);
    pen.box(0.0, 0.0, page_width, height(), {1.0, 1.0, 0.99});
    pen.text(margin, margin,
             fmt::format("{}: {} answers, {} right", player, progress->answer_count,
                         progress->right_count),
             17.0, ink, Pen::Align::left, true);
    pen.box(margin, margin + 34.0, 18.0, bar_height, early);
    pen.text(margin + 24.0, margin + 31.0, "earlier half", 11.0, faint);
    pen.box(margin + 120.0, margin + 34.0, 18.0, bar_height, late);
    pen.text(margin + 144.0, margin + 31.0, "later half", 11.0, faint);
    double y = margin + head_height();
    for (const Panel& panel : left) {
      draw_panel(pen, panel, margin, y);
      y += panel_height(panel);
    }
    y = margin + head_height();
    for (const Panel& panel : right) {
      draw_panel(pen, panel, margin + panel_width + gap, y);
      y += panel_height(panel);
    }
    y = margin + head_height() + columns_height();
    draw_table(pen, progress->roles, roles_title, margin, y);
    y += table_height(progress->roles);
    draw_table(pen, progress->notes, notes_title, margin, y);
    y += table_height(progress->notes);
    draw_table(pen, progress->chords, chords_title, margin, y);
  }
};

cairo_status_t append(void* out, const unsigned char* bytes, unsigned count) {
  static_cast<std::string*>(out)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

std::string as_svg(const Page& page) {
  std::string bytes;
  {
    const std::unique_ptr<cairo_surface_t, SurfaceGuard> surface(
        cairo_svg_surface_create_for_stream(append, &bytes, page_width, page.height()));
    const std::unique_ptr<cairo_t, CairoGuard> context(cairo_create(surface.get()));
    page.draw(context.get());
    cairo_surface_finish(surface.get());
  }
  return bytes;
}

std::string as_png(const Page& page) {
  constexpr double scale = 2.0;
  const std::unique_ptr<cairo_surface_t, SurfaceGuard> surface(
      cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(scale * page_width),
                                 static_cast<int>(std::ceil(scale * page.height()))));
  const std::unique_ptr<cairo_t, CairoGuard> context(cairo_create(surface.get()));
  cairo_scale(context.get(), scale, scale);
  page.draw(context.get());
  std::string bytes;
  cairo_surface_write_to_png_stream(surface.get(), append, &bytes);
  return bytes;
}

Page page_of(const Progress& progress, std::string_view player) {
  Page page;
  page.progress = &progress;
  page.player = player;
  page.left = {{"Right by kind", &progress.by_kind},
               {"By role", &progress.by_role},
               {"By register", &progress.by_register}};
  page.right = {{"By interval from the note before", &progress.by_interval},
                {"By tempo as heard, beats a minute", &progress.by_tempo}};
  return page;
}

}  // namespace

std::string progress_png(const Progress& progress, std::string_view player) {
  return as_png(page_of(progress, player));
}

Result<void> draw_progress(const Progress& progress, std::string_view player,
                           const std::filesystem::path& path) {
  const std::string ending = path.extension().string();
  if (ending != ".svg" && ending != ".png") {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}': plots are written as .svg or .png.", path.string()));
  }
  const Page page = page_of(progress, player);
  return write_file_atomically(path, ending == ".svg" ? as_svg(page) : as_png(page));
}

}  // namespace lowstride::drill
