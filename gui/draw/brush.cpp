#include "gui/draw/brush.hpp"

#include <cmath>

#include <imgui_freetype.h>

extern "C" {
// Embedded by fonts.S.
extern const unsigned char lowstride_font_text[];
extern const unsigned char lowstride_font_text_end[];
extern const unsigned char lowstride_font_bold[];
extern const unsigned char lowstride_font_bold_end[];
extern const unsigned char lowstride_font_mono[];
extern const unsigned char lowstride_font_mono_end[];
}

namespace lowstride::desk {
namespace {

/// Latin with its accents, Greek and Cyrillic for titles and names; dashes, quotes, arrows,
/// mathematical signs, shapes; sharp, flat and natural.
constexpr ImWchar glyph_ranges[] = {0x0020, 0x024F, 0x0370, 0x03FF, 0x0400, 0x04FF,
                                    0x2010, 0x2044, 0x2190, 0x21FF, 0x2200, 0x22FF,
                                    0x25A0, 0x25FF, 0x2669, 0x266F, 0};

ImFont* add(ImFontAtlas& atlas, const unsigned char* begin, const unsigned char* end, float px) {
  ImFontConfig config;
  // The program's own bytes: the atlas must not free them (and reads them only).
  config.FontDataOwnedByAtlas = false;
  config.OversampleH = 1;
  return atlas.AddFontFromMemoryTTF(const_cast<unsigned char*>(begin),
                                    static_cast<int>(end - begin), std::round(px), &config,
                                    glyph_ranges);
}

ImVec4 vec(Colour colour, float alpha = 1.0F) {
  return {static_cast<float>(colour.red) / 255.0F, static_cast<float>(colour.green) / 255.0F,
          static_cast<float>(colour.blue) / 255.0F, alpha};
}

}  // namespace

Fonts build_fonts(ImFontAtlas& atlas, float scale) {
  atlas.Clear();
  atlas.FontBuilderIO = ImGuiFreeType::GetBuilderForFreeType();
  Fonts fonts;
  fonts.text = add(atlas, lowstride_font_text, lowstride_font_text_end, 15.0F * scale);
  fonts.small = add(atlas, lowstride_font_text, lowstride_font_text_end, 12.0F * scale);
  fonts.number = add(atlas, lowstride_font_bold, lowstride_font_bold_end, 17.0F * scale);
  fonts.mono = add(atlas, lowstride_font_mono, lowstride_font_mono_end, 13.0F * scale);
  atlas.Build();
  return fonts;
}

void apply_style(const Theme& theme, float scale) {
  ImGuiStyle style;
  style.WindowRounding = 4.0F;
  style.FrameRounding = 3.0F;
  style.PopupRounding = 4.0F;
  style.GrabRounding = 3.0F;
  style.ScrollbarRounding = 3.0F;
  style.WindowBorderSize = 1.0F;
  style.WindowPadding = {10.0F, 8.0F};
  style.FramePadding = {7.0F, 4.0F};
  style.ItemSpacing = {7.0F, 5.0F};
  style.ScrollbarSize = 12.0F;
  style.ScaleAllSizes(scale);
  const auto set = [&style](ImGuiCol which, Colour colour, float alpha = 1.0F) {
    style.Colors[which] = vec(colour, alpha);
  };
  const Colour hot = theme.field_hot;
  set(ImGuiCol_Text, theme.text);
  set(ImGuiCol_TextDisabled, theme.faint_text);
  set(ImGuiCol_WindowBg, theme.panel);
  set(ImGuiCol_ChildBg, theme.panel, 0.0F);
  set(ImGuiCol_PopupBg, theme.panel);
  set(ImGuiCol_Border, theme.border);
  set(ImGuiCol_FrameBg, theme.field);
  set(ImGuiCol_FrameBgHovered, hot);
  set(ImGuiCol_FrameBgActive, hot);
  set(ImGuiCol_TitleBg, theme.panel);
  set(ImGuiCol_TitleBgActive, theme.field);
  set(ImGuiCol_TitleBgCollapsed, theme.panel);
  set(ImGuiCol_ScrollbarBg, theme.panel);
  set(ImGuiCol_ScrollbarGrab, theme.border);
  set(ImGuiCol_ScrollbarGrabHovered, theme.faint_text);
  set(ImGuiCol_ScrollbarGrabActive, theme.faint_text);
  set(ImGuiCol_CheckMark, theme.text);
  set(ImGuiCol_SliderGrab, theme.faint_text);
  set(ImGuiCol_SliderGrabActive, theme.text);
  set(ImGuiCol_Button, theme.field);
  set(ImGuiCol_ButtonHovered, hot);
  set(ImGuiCol_ButtonActive, theme.border);
  set(ImGuiCol_Header, theme.field);
  set(ImGuiCol_HeaderHovered, hot);
  set(ImGuiCol_HeaderActive, theme.border);
  set(ImGuiCol_Separator, theme.border);
  set(ImGuiCol_Tab, theme.panel);
  set(ImGuiCol_TabHovered, hot);
  set(ImGuiCol_TabActive, theme.field);
  set(ImGuiCol_TableHeaderBg, theme.field);
  set(ImGuiCol_TableBorderLight, theme.border, 0.5F);
  set(ImGuiCol_TableBorderStrong, theme.border);
  set(ImGuiCol_TextSelectedBg, theme.proposed, 0.35F);
  set(ImGuiCol_NavHighlight, theme.selection);
  set(ImGuiCol_ModalWindowDimBg, theme.background, 0.6F);
  set(ImGuiCol_PlotHistogram, theme.confirmed);
  set(ImGuiCol_ResizeGrip, theme.border);
  ImGui::GetStyle() = style;
}

void Brush::fill(const Rect& rect, Colour colour, double alpha, float rounding) const {
  list.AddRectFilled({rect.x0, rect.y0}, {rect.x1, rect.y1}, packed(colour, alpha), rounding);
}

void Brush::outline(const Rect& rect, Colour colour, float rounding, float thickness) const {
  list.AddRect({rect.x0, rect.y0}, {rect.x1, rect.y1}, packed(colour), rounding, 0, thickness);
}

void Brush::line(Point from, Point to, Colour colour, float thickness, double alpha) const {
  list.AddLine({from.x, from.y}, {to.x, to.y}, packed(colour, alpha), thickness);
}

void Brush::text(const ImFont* font, float px, Point at, Colour colour,
                 std::string_view text) const {
  list.AddText(font, px, {std::round(at.x), std::round(at.y - px * 0.5F)}, packed(colour),
               text.data(), text.data() + text.size());
}

float Brush::text_width(const ImFont* font, float px, std::string_view text) {
  return font->CalcTextSizeA(px, 1e9F, 0.0F, text.data(), text.data() + text.size()).x;
}

}  // namespace lowstride::desk
