#include "src/base/atomic_file.hpp"
#include "src/sheet/export.hpp"

namespace lowstride::sheet {

Result<void> export_text(const take::Take& take, const std::filesystem::path& path,
                         const TextTabOptions& options) {
  return write_file_atomically(path, render_text_tab(take, options));
}

}  // namespace lowstride::sheet
