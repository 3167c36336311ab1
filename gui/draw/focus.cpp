#include "gui/draw/focus.hpp"

// ActivateItem is not in the public header of 1.86.
#include <imgui_internal.h>

namespace lowstride::desk {

bool press_focused_part() {
  const ImGuiContext& context = *ImGui::GetCurrentContext();
  if (context.NavId == 0 || context.NavDisableHighlight || context.IO.WantTextInput) return false;
  ImGui::ActivateItem(context.NavId);
  return true;
}

bool is_popup_open() {
  return ImGui::IsPopupOpen("", ImGuiPopupFlags_AnyPopupId | ImGuiPopupFlags_AnyPopupLevel);
}

}  // namespace lowstride::desk
