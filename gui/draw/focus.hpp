#pragma once

#include <imgui.h>

namespace lowstride::desk {

/// For the child windows of a dialog: the keyboard goes in and out of them as if they were none.
inline constexpr ImGuiWindowFlags keyboard_passes = ImGuiWindowFlags_NavFlattened;

/// Does what a click on the part of a dialog that the keyboard is at would do, in the next frame.
/// Dear ImGui 1.86 does so for Space alone; people press Enter. False, and nothing happens, while
/// no part is marked (the mouse is in use) or a text is typed.
bool press_focused_part();

/// A list that folds down from a part of a dialog, or a menu, is open.
[[nodiscard]] bool is_popup_open();

}  // namespace lowstride::desk
