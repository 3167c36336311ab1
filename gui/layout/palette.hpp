#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace lowstride::desk {

struct Colour {
  std::uint8_t red = 0, green = 0, blue = 0;

  bool operator==(const Colour&) const = default;
};

/// As ImGui wants it: 0xAABBGGRR. `alpha` 0..1.
[[nodiscard]] std::uint32_t packed(Colour colour, double alpha = 1.0) noexcept;

/// `share` of `over` laid on `under`.
[[nodiscard]] Colour mixed(Colour under, Colour over, double share) noexcept;

/// Relative luminance 0..1 and contrast ratio 1..21 as WCAG 2.1 (W3C Recommendation, 2018) defines
/// them.
[[nodiscard]] double relative_luminance(Colour colour) noexcept;
[[nodiscard]] double contrast_ratio(Colour a, Colour b) noexcept;

/// Colours that all kinds of colour vision tell apart: Okabe & Ito, "Color Universal Design", 2008.
namespace okabe_ito {
inline constexpr Colour black{0, 0, 0};
inline constexpr Colour orange{230, 159, 0};
inline constexpr Colour sky_blue{86, 180, 233};
inline constexpr Colour bluish_green{0, 158, 115};
inline constexpr Colour yellow{240, 228, 66};
inline constexpr Colour blue{0, 114, 178};
inline constexpr Colour vermillion{213, 94, 0};
inline constexpr Colour reddish_purple{204, 121, 167};
}  // namespace okabe_ito

/// What the desk is drawn with. Text stands on `background`, `panel` or the chips; each pair keeps
/// the contrast that WCAG AA asks for (tests/gui/palette_test.cpp).
struct Theme {
  std::string_view name;
  bool is_dark = true;
  Colour background;  // behind the staff
  Colour panel;       // behind words and buttons
  Colour field;       // buttons, inputs
  Colour field_hot;
  Colour border;
  Colour text;
  Colour faint_text;
  Colour string_line;
  Colour bar_line;
  Colour beat_line;
  Colour chip;            // under a fret number that the machine proposed
  Colour chip_confirmed;  // under one that a person confirmed
  Colour chip_doubt;      // under one in doubt
  Colour confirmed;       // marks
  Colour doubt;
  Colour proposed;
  Colour alternative;  // other candidates
  Colour selection;
  Colour playhead;
  Colour loop;
  Colour waveform;
  Colour evidence;
  Colour accent;  // what is switched on
  std::array<Colour, 6> passages;
};

[[nodiscard]] const Theme& dark_theme() noexcept;
[[nodiscard]] const Theme& light_theme() noexcept;

}  // namespace lowstride::desk
