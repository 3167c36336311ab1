#include "src/sheet/page_painter.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <string_view>
#include <utility>

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <fmt/format.h>
#include <pango/pangocairo.h>

#include "dsp/base/contracts.hpp"
#include "src/sheet/text_columns.hpp"

namespace lowstride::sheet {
namespace {

struct Release {
  void operator()(cairo_t* context) const noexcept { cairo_destroy(context); }
  void operator()(cairo_surface_t* surface) const noexcept { cairo_surface_destroy(surface); }
  void operator()(PangoLayout* layout) const noexcept { g_object_unref(layout); }
  void operator()(PangoFontDescription* font) const noexcept { pango_font_description_free(font); }
  void operator()(cairo_font_options_t* options) const noexcept {
    cairo_font_options_destroy(options);
  }
};
template <typename T>
using Owned = std::unique_ptr<T, Release>;

cairo_status_t append(void* target, const unsigned char* bytes, unsigned int count) {
  static_cast<std::string*>(target)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

Owned<PangoFontDescription> description(const char* family, double size, PangoWeight weight,
                                        PangoStyle style) {
  Owned<PangoFontDescription> font(pango_font_description_new());
  pango_font_description_set_family(font.get(), family);
  pango_font_description_set_weight(font.get(), weight);
  pango_font_description_set_style(font.get(), style);
  pango_font_description_set_absolute_size(font.get(), size * PANGO_SCALE);
  return font;
}

Owned<PangoFontDescription> font_of(const TextStyle& style) {
  const bool is_serif = style.face == Face::serif || style.face == Face::serif_bold ||
                        style.face == Face::serif_italic;
  const bool is_bold = style.face == Face::serif_bold || style.face == Face::sans_bold;
  return description(is_serif ? "Noto Serif,DejaVu Serif" : "Noto Sans,DejaVu Sans", style.size_pt,
                     is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL,
                     style.face == Face::serif_italic ? PANGO_STYLE_ITALIC : PANGO_STYLE_NORMAL);
}

void set_grey(cairo_t* context, double grey) { cairo_set_source_rgb(context, grey, grey, grey); }

/// Metrics without hints, so that text is as wide on every kind of page.
void measure_exactly(PangoLayout* layout) {
  const Owned<cairo_font_options_t> options(cairo_font_options_create());
  cairo_font_options_set_hint_style(options.get(), CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options.get(), CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options.get(), CAIRO_ANTIALIAS_GRAY);
  PangoContext* context = pango_layout_get_context(layout);
  pango_cairo_context_set_font_options(context, options.get());
  pango_cairo_context_set_resolution(context, 72.0);
  pango_context_set_round_glyph_positions(context, FALSE);
  pango_layout_context_changed(layout);
}

Owned<PangoLayout> text_layout(cairo_t* context, const std::string& text,
                               const PangoFontDescription* font) {
  Owned<PangoLayout> layout(pango_cairo_create_layout(context));
  measure_exactly(layout.get());
  pango_layout_set_font_description(layout.get(), font);
  pango_layout_set_text(layout.get(), text.data(), static_cast<int>(text.size()));
  return layout;
}

double width_of(PangoLayout* layout) {
  PangoRectangle logical;
  pango_layout_get_extents(layout, nullptr, &logical);
  return static_cast<double>(logical.width) / PANGO_SCALE;
}

class Brush {
 public:
  explicit Brush(cairo_t* context) : context_(context) {}

  void operator()(const TextMark& mark) const {
    const auto font = font_of(mark.style);
    const auto layout = text_layout(context_, mark.text, font.get());
    const double width = width_of(layout.get());
    const double left = mark.align == Align::left     ? mark.place.x
                        : mark.align == Align::center ? mark.place.x - width / 2.0
                                                      : mark.place.x - width;
    set_grey(context_, mark.grey);
    cairo_move_to(
        context_, left,
        mark.place.y - static_cast<double>(pango_layout_get_baseline(layout.get())) / PANGO_SCALE);
    pango_cairo_show_layout(context_, layout.get());
  }

  void operator()(const GlyphMark& mark) const {
    constexpr double drawn_size = 100.0;
    const auto font =
        description("Noto Music", drawn_size, PANGO_WEIGHT_NORMAL, PANGO_STYLE_NORMAL);
    const auto layout = text_layout(context_, utf8(std::u32string(1, mark.code_point)), font.get());
    PangoRectangle ink;
    pango_layout_get_extents(layout.get(), &ink, nullptr);
    if (ink.height <= 0) return;
    const double scale = mark.height_pt / (static_cast<double>(ink.height) / PANGO_SCALE);
    const double centre_x = (ink.x + ink.width / 2.0) / PANGO_SCALE;
    const double centre_y = (ink.y + ink.height / 2.0) / PANGO_SCALE;
    cairo_save(context_);
    set_grey(context_, mark.grey);
    cairo_translate(context_, mark.place.x, mark.place.y);
    cairo_scale(context_, scale, scale);
    cairo_move_to(context_, -centre_x, -centre_y);
    pango_cairo_layout_path(context_, layout.get());
    cairo_fill(context_);
    cairo_restore(context_);
  }

  void operator()(const LineMark& mark) const {
    set_grey(context_, mark.grey);
    cairo_set_line_width(context_, mark.width_pt);
    cairo_move_to(context_, mark.from.x, mark.from.y);
    cairo_line_to(context_, mark.to.x, mark.to.y);
    cairo_stroke(context_);
  }

  void operator()(const ShapeMark& mark) const {
    LOWSTRIDE_EXPECTS(mark.points.size() % 3 == 1);
    set_grey(context_, mark.grey);
    cairo_move_to(context_, mark.points[0].x, mark.points[0].y);
    for (std::size_t i = 1; i + 2 < mark.points.size(); i += 3) {
      const Point& a = mark.points[i];
      const Point& b = mark.points[i + 1];
      const Point& c = mark.points[i + 2];
      cairo_curve_to(context_, a.x, a.y, b.x, b.y, c.x, c.y);
    }
    cairo_close_path(context_);
    cairo_fill(context_);
  }

 private:
  cairo_t* context_;
};

void paint(cairo_t* context, const Page& page) {
  const Brush brush(context);
  for (const Mark& mark : page.marks) std::visit(brush, mark);
}

/// The library names the page's group after how many surfaces it has made so far; it is one page.
std::string without_counter(std::string svg) {
  constexpr std::string_view name = "id=\"surface";
  const auto place = svg.find(name);
  if (place == std::string::npos) return svg;
  const auto begin = place + name.size();
  svg.replace(begin, svg.find('"', begin) - begin, "1");
  return svg;
}

Result<void> check(cairo_status_t status) {
  if (status == CAIRO_STATUS_SUCCESS) return {};
  return fail(ErrorCode::unsupported,
              fmt::format("The page cannot be drawn ({}); export it as text or MusicXML.",
                          cairo_status_to_string(status)));
}

}  // namespace

struct PagePainter::Inside {
  Owned<cairo_surface_t> surface{cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1)};
  Owned<cairo_t> context{cairo_create(surface.get())};
  // Sheets ask for the same numbers and names again and again.
  mutable std::map<std::pair<std::string, std::pair<int, double>>, double> widths;
};

PagePainter::PagePainter() : inside_(std::make_unique<Inside>()) {}
PagePainter::PagePainter(PagePainter&&) noexcept = default;
PagePainter& PagePainter::operator=(PagePainter&&) noexcept = default;
PagePainter::~PagePainter() = default;

double PagePainter::width(const std::string& text, const TextStyle& style) const {
  const std::pair key{text, std::pair{static_cast<int>(style.face), style.size_pt}};
  const auto known = inside_->widths.find(key);
  if (known != inside_->widths.end()) return known->second;
  const auto font = font_of(style);
  const double width = width_of(text_layout(inside_->context.get(), text, font.get()).get());
  inside_->widths.emplace(key, width);
  return width;
}

Result<std::string> PagePainter::pdf(const std::vector<Page>& pages, const PageFacts& facts) const {
  LOWSTRIDE_EXPECTS(!pages.empty());
  std::string bytes;
  const Owned<cairo_surface_t> surface(cairo_pdf_surface_create_for_stream(
      append, &bytes, pages.front().width_pt, pages.front().height_pt));
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, facts.title.c_str());
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_AUTHOR, facts.author.c_str());
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATOR, "Lowstride");
  // Left empty, no date is written; the library would write the time of writing otherwise.
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "");
  {
    const Owned<cairo_t> context(cairo_create(surface.get()));
    for (const Page& page : pages) {
      cairo_pdf_surface_set_size(surface.get(), page.width_pt, page.height_pt);
      paint(context.get(), page);
      cairo_show_page(context.get());
    }
    if (const auto done = check(cairo_status(context.get())); !done) {
      return tl::unexpected(done.error());
    }
  }
  cairo_surface_finish(surface.get());
  if (const auto done = check(cairo_surface_status(surface.get())); !done) {
    return tl::unexpected(done.error());
  }
  return bytes;
}

Result<std::string> PagePainter::svg(const Page& page) const {
  std::string bytes;
  const Owned<cairo_surface_t> surface(
      cairo_svg_surface_create_for_stream(append, &bytes, page.width_pt, page.height_pt));
  const Owned<cairo_t> context(cairo_create(surface.get()));
  paint(context.get(), page);
  if (const auto done = check(cairo_status(context.get())); !done) {
    return tl::unexpected(done.error());
  }
  cairo_surface_finish(surface.get());
  return without_counter(std::move(bytes));
}

Result<std::string> PagePainter::png(const Page& page, double dots_per_inch) const {
  const double scale = std::clamp(dots_per_inch, 96.0, 600.0) / 72.0;
  std::string bytes;
  const Owned<cairo_surface_t> surface(cairo_image_surface_create(
      CAIRO_FORMAT_RGB24, static_cast<int>(std::ceil(page.width_pt * scale)),
      static_cast<int>(std::ceil(page.height_pt * scale))));
  const Owned<cairo_t> context(cairo_create(surface.get()));
  cairo_scale(context.get(), scale, scale);
  set_grey(context.get(), 1.0);
  cairo_paint(context.get());
  paint(context.get(), page);
  if (const auto done = check(cairo_status(context.get())); !done) {
    return tl::unexpected(done.error());
  }
  const auto status = cairo_surface_write_to_png_stream(surface.get(), append, &bytes);
  if (const auto done = check(status); !done) return tl::unexpected(done.error());
  return bytes;
}

}  // namespace lowstride::sheet
