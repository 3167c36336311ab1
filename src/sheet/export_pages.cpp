#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/page_painter.hpp"

namespace lowstride::sheet {
namespace {

constexpr double preview_dots_per_inch = 150.0;

Result<std::vector<Page>> pages_of(const std::vector<PageSection>& sections,
                                   const PageOptions& options, const PagePainter& painter) {
  return lay_out_pages(sections, options,
                       [&painter](const std::string& text, const TextStyle& style) {
                         return painter.width(text, style);
                       });
}

tl::unexpected<Error> cannot_write(const std::filesystem::path& path, const Error& why) {
  return fail(why.code, fmt::format("Cannot write '{}': {}", path.string(), why.message));
}

}  // namespace

Result<std::string> pdf_file(const std::vector<PageSection>& sections, const PageOptions& options) {
  const PagePainter painter;
  const auto pages = pages_of(sections, options, painter);
  if (!pages) return tl::unexpected(pages.error());
  return painter.pdf(*pages, {sections.front().take.title, sections.front().take.composer});
}

Result<void> export_pdf(const std::vector<PageSection>& sections, const std::filesystem::path& path,
                        const PageOptions& options) {
  const auto bytes = pdf_file(sections, options);
  if (!bytes) return cannot_write(path, bytes.error());
  return write_file_atomically(path, *bytes);
}

std::filesystem::path picture_path(const std::filesystem::path& path, std::size_t page,
                                   std::size_t page_count) {
  if (page_count <= 1) return path;
  std::filesystem::path numbered = path;
  numbered.replace_filename(
      fmt::format("{}-{}{}", path.stem().string(), page + 1, path.extension().string()));
  return numbered;
}

Result<std::vector<std::filesystem::path>> export_pictures(const std::vector<PageSection>& sections,
                                                           const std::filesystem::path& path,
                                                           PictureKind kind,
                                                           const PageOptions& options) {
  const PagePainter painter;
  const auto pages = pages_of(sections, options, painter);
  if (!pages) return cannot_write(path, pages.error());
  // All are written in full before the first takes its name.
  std::vector<PendingFile> files;
  std::vector<std::filesystem::path> paths;
  for (std::size_t i = 0; i < pages->size(); ++i) {
    const Page& page = (*pages)[i];
    const auto bytes =
        kind == PictureKind::svg ? painter.svg(page) : painter.png(page, preview_dots_per_inch);
    if (!bytes) return cannot_write(path, bytes.error());
    paths.push_back(picture_path(path, i, pages->size()));
    auto file = PendingFile::create(paths.back());
    if (!file) return tl::unexpected(file.error());
    if (const auto done = file->write(*bytes); !done) return tl::unexpected(done.error());
    files.push_back(std::move(*file));
  }
  for (PendingFile& file : files) {
    if (const auto done = file.commit(); !done) return tl::unexpected(done.error());
  }
  return paths;
}

}  // namespace lowstride::sheet
