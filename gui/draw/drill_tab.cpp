#include "gui/draw/drill_tab.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <imgui.h>

#include "src/neck/named_necks.hpp"

namespace lowstride::desk {

std::optional<TabPlace> draw_answer_tab(const Brush& brush, const Drilling& drilling) {
  const drill::Item& item = drilling.item();
  const int strings = std::max(1, item.neck.string_count());
  const float scale = brush.scale;
  const ImVec2 at = ImGui::GetCursorScreenPos();
  const float heading = 26.0F * scale;
  const Rect rect{at.x, at.y, at.x + ImGui::GetContentRegionAvail().x,
                  at.y + (static_cast<float>(strings) * 26.0F + 44.0F) * scale};
  ImGui::InvisibleButton("tab", {std::max(1.0F, rect.width()), rect.height()});
  const int slots = std::max(1, drilling.slot_count());
  const float slot_px = (rect.width() - heading) / static_cast<float>(slots);
  const auto x_of = [&](double slot) {
    return rect.x0 + heading + static_cast<float>(slot + 0.4) * slot_px;
  };
  const auto y_of = [&](int string) {
    return rect.y0 + (18.0F + 26.0F * (static_cast<float>(string) - 0.5F)) * scale;
  };
  std::optional<TabPlace> clicked;
  if (ImGui::IsItemClicked()) {
    const ImVec2 mouse = ImGui::GetIO().MousePos;
    clicked = TabPlace{
        std::clamp(static_cast<int>((mouse.x - rect.x0 - heading) / slot_px), 0, slots - 1),
        std::clamp(static_cast<int>((mouse.y - rect.y0 - 18.0F * scale) / (26.0F * scale)) + 1, 1,
                   strings)};
  }
  const Theme& t = brush.theme;
  brush.fill(rect, t.background, 1.0, 3.0F * scale);
  const Rect cursor{x_of(drilling.cursor_slot) - 0.4F * slot_px, rect.y0 + 2.0F,
                    x_of(drilling.cursor_slot) + 0.6F * slot_px, rect.y1 - 2.0F};
  brush.fill(cursor, t.selection, 0.15, 3.0F * scale);
  const std::vector<std::string> names = neck::string_names(item.neck);
  const float small = brush.fonts.small->FontSize;
  for (int string = 1; string <= strings; ++string) {
    brush.line({rect.x0 + heading, y_of(string)}, {rect.x1, y_of(string)}, t.string_line);
    brush.text(brush.fonts.text, brush.fonts.text->FontSize, {rect.x0 + 8.0F * scale, y_of(string)},
               t.text, names[static_cast<std::size_t>(string - 1)]);
  }
  for (int slot = 0; slot < slots; slot += 2) {
    const int beat = slot / 2 % item.beats_per_bar;
    const float x = x_of(slot) - 0.4F * slot_px;
    if (beat == 0) brush.line({x, y_of(1)}, {x, y_of(strings)}, t.bar_line, 1.5F * scale);
    brush.text(brush.fonts.small, small, {x_of(slot), rect.y1 - 11.0F * scale}, t.text,
               std::to_string(beat + 1));
  }
  brush.line({rect.x1 - 1.0F, y_of(1)}, {rect.x1 - 1.0F, y_of(strings)}, t.bar_line, 1.5F * scale);
  for (const WrittenNote& note : drilling.written()) {
    const std::string number = std::to_string(note.fret);
    const float px = brush.fonts.number->FontSize;
    const float x = x_of(note.slot);
    const float width = Brush::text_width(brush.fonts.number, px, number);
    const Rect chip{x - 3.0F * scale, y_of(note.string_number) - 0.6F * px,
                    x + width + 3.0F * scale, y_of(note.string_number) + 0.6F * px};
    brush.fill(chip, t.chip, 1.0, 4.0F * scale);
    brush.text(brush.fonts.number, px, {x, y_of(note.string_number)}, t.text, number);
  }
  if (!drilling.verdict()) return clicked;
  for (const drill::MarkedNote& mark : drilling.verdict()->marks) {
    const bool is_right = mark.mark == drill::Mark::tick;
    brush.text(brush.fonts.small, small, {x_of(2.0 * mark.beat), rect.y0 + 9.0F * scale},
               is_right ? t.confirmed : t.doubt, drill::mark_text(mark.mark));
  }
  return clicked;
}

}  // namespace lowstride::desk
