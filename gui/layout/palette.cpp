#include "gui/layout/palette.hpp"

#include <algorithm>
#include <cmath>

namespace lowstride::desk {
namespace {

using namespace okabe_ito;

constexpr Colour white{255, 255, 255};

std::uint8_t blend(std::uint8_t under, std::uint8_t over, double share) noexcept {
  return static_cast<std::uint8_t>(std::lround(under + (over - under) * share));
}

Theme make_dark() {
  const Colour ground{22, 24, 28};
  Theme theme;
  theme.name = "dark";
  theme.is_dark = true;
  theme.background = ground;
  theme.panel = {31, 34, 39};
  theme.field = {48, 53, 60};
  theme.field_hot = {66, 73, 83};
  theme.border = {74, 80, 89};
  theme.text = {236, 236, 230};
  theme.faint_text = {166, 171, 178};
  theme.string_line = {98, 103, 110};
  theme.bar_line = {150, 155, 160};
  theme.beat_line = {46, 50, 56};
  theme.chip = {44, 48, 55};
  theme.chip_confirmed = mixed(ground, bluish_green, 0.55);
  theme.chip_doubt = mixed(ground, vermillion, 0.42);
  theme.confirmed = bluish_green;
  theme.doubt = {235, 116, 20};  // vermillion, lighter for a dark ground
  theme.proposed = sky_blue;
  theme.alternative = {124, 131, 140};
  theme.selection = yellow;
  theme.playhead = orange;
  theme.loop = sky_blue;
  theme.waveform = {112, 128, 142};
  theme.evidence = sky_blue;
  theme.accent = orange;
  theme.passages = {sky_blue, bluish_green, orange, reddish_purple, yellow, vermillion};
  return theme;
}

Theme make_light() {
  const Colour ground{252, 251, 247};
  Theme theme;
  theme.name = "light";
  theme.is_dark = false;
  theme.background = ground;
  theme.panel = {238, 236, 230};
  theme.field = {221, 219, 212};
  theme.field_hot = {203, 201, 194};
  theme.border = {150, 148, 142};
  theme.text = {22, 22, 22};
  theme.faint_text = {84, 84, 82};
  theme.string_line = {150, 149, 145};
  theme.bar_line = {90, 90, 88};
  theme.beat_line = {228, 226, 220};
  theme.chip = {236, 238, 240};
  theme.chip_confirmed = mixed(ground, bluish_green, 0.45);
  theme.chip_doubt = mixed(ground, orange, 0.55);
  theme.confirmed = mixed(bluish_green, black, 0.15);
  theme.doubt = vermillion;
  theme.proposed = blue;
  theme.alternative = {128, 130, 133};
  theme.selection = blue;
  theme.playhead = vermillion;
  theme.loop = blue;
  theme.waveform = {132, 142, 150};
  theme.evidence = blue;
  theme.accent = mixed(white, orange, 0.75);
  theme.passages = {mixed(blue, white, 0.1), bluish_green, orange,
                    reddish_purple,          yellow,       vermillion};
  return theme;
}

}  // namespace

std::uint32_t packed(Colour colour, double alpha) noexcept {
  const auto a = static_cast<std::uint32_t>(std::lround(std::clamp(alpha, 0.0, 1.0) * 255.0));
  return a << 24U | static_cast<std::uint32_t>(colour.blue) << 16U |
         static_cast<std::uint32_t>(colour.green) << 8U | colour.red;
}

Colour mixed(Colour under, Colour over, double share) noexcept {
  return {blend(under.red, over.red, share), blend(under.green, over.green, share),
          blend(under.blue, over.blue, share)};
}

double relative_luminance(Colour colour) noexcept {
  const auto linear = [](std::uint8_t channel) {
    const double value = channel / 255.0;
    return value <= 0.03928 ? value / 12.92 : std::pow((value + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * linear(colour.red) + 0.7152 * linear(colour.green) + 0.0722 * linear(colour.blue);
}

double contrast_ratio(Colour a, Colour b) noexcept {
  const double one = relative_luminance(a);
  const double other = relative_luminance(b);
  return (std::max(one, other) + 0.05) / (std::min(one, other) + 0.05);
}

const Theme& dark_theme() noexcept {
  static const Theme theme = make_dark();
  return theme;
}

const Theme& light_theme() noexcept {
  static const Theme theme = make_light();
  return theme;
}

}  // namespace lowstride::desk
