#pragma once

#include <memory>
#include <string>
#include <vector>

#include "src/base/result.hpp"
#include "src/sheet/page.hpp"

namespace lowstride::sheet {

/// What a PDF says about itself.
struct PageFacts {
  std::string title;
  std::string author;
};

/// Paints pages with cairo and pango. Musical signs are drawn as outlines of Noto Music, text is
/// text (it can be searched in a PDF) in Noto Serif, Noto Sans and what pango finds for letters
/// that these lack; fonts are embedded. The same pages give the same bytes on one machine: no time
/// of writing is stored. One thread at a time.
class PagePainter {
 public:
  PagePainter();
  PagePainter(PagePainter&&) noexcept;
  PagePainter& operator=(PagePainter&&) noexcept;
  ~PagePainter();

  [[nodiscard]] double width(const std::string& text, const TextStyle& style) const;

  /// Errors of all: unsupported when the drawing library fails (it names its reason).
  [[nodiscard]] Result<std::string> pdf(const std::vector<Page>& pages,
                                        const PageFacts& facts) const;
  [[nodiscard]] Result<std::string> svg(const Page& page) const;
  /// `dots_per_inch` of a screen, 96 to 600.
  [[nodiscard]] Result<std::string> png(const Page& page, double dots_per_inch) const;

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace lowstride::sheet
