#pragma once

#include <imgui.h>

#include "gui/model/export_job.hpp"

namespace lowstride::desk {

/// Puts pictures where ImGui can draw them: the window's graphics memory, or a test's own.
class Textures {
 public:
  Textures() = default;
  Textures(const Textures&) = delete;
  Textures& operator=(const Textures&) = delete;
  virtual ~Textures() = default;

  [[nodiscard]] virtual ImTextureID put(const Pixels& pixels) = 0;
  virtual void drop(ImTextureID texture) = 0;
};

}  // namespace lowstride::desk
