#pragma once

#include <filesystem>
#include <functional>
#include <optional>

#include "gui/draw/desk.hpp"
#include "src/base/result.hpp"

namespace lowstride::desk {

/// Opens the window and runs until it is closed. `path` is opened at once. Errors: no_device (no
/// screen, no OpenGL 3), one sentence with the cure.
[[nodiscard]] Result<void> run_window(DeskOptions options,
                                      const std::optional<std::filesystem::path>& path);

}  // namespace lowstride::desk
