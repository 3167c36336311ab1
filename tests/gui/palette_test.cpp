#include "gui/layout/palette.hpp"

#include <gtest/gtest.h>

namespace lowstride::desk {
namespace {

// Contrast as WCAG 2.1 (W3C Recommendation, 2018) defines it: black on white is 21 : 1, equal
// colours 1 : 1; #767676 on white is the known border case of 4.54 : 1.
TEST(Palette, contrast_is_that_of_the_recommendation) {
  EXPECT_NEAR(contrast_ratio({0, 0, 0}, {255, 255, 255}), 21.0, 1e-9);
  EXPECT_NEAR(contrast_ratio({10, 20, 30}, {10, 20, 30}), 1.0, 1e-9);
  EXPECT_NEAR(contrast_ratio({0x76, 0x76, 0x76}, {255, 255, 255}), 4.54, 0.005);
}

class ThemeContrast : public testing::TestWithParam<const Theme*> {};

// Success criterion 1.4.3 (AA): text 4.5 : 1.
TEST_P(ThemeContrast, text_is_readable_on_everything_that_it_stands_on) {
  const Theme& t = *GetParam();
  for (const Colour ground :
       {t.background, t.panel, t.field, t.field_hot, t.chip, t.chip_confirmed, t.chip_doubt}) {
    EXPECT_GE(contrast_ratio(t.text, ground), 4.5)
        << t.name << " " << int{ground.red} << "," << int{ground.green} << "," << int{ground.blue};
  }
  EXPECT_GE(contrast_ratio(t.faint_text, t.background), 4.5) << t.name;
  EXPECT_GE(contrast_ratio(t.faint_text, t.panel), 4.5) << t.name;
  EXPECT_GE(contrast_ratio({0, 0, 0}, t.accent), 4.5) << t.name;
  // A chord in doubt or confirmed lies on its chip at three quarters.
  EXPECT_GE(contrast_ratio(t.text, mixed(t.background, t.chip_doubt, 0.75)), 4.5) << t.name;
  EXPECT_GE(contrast_ratio(t.text, mixed(t.background, t.chip_confirmed, 0.75)), 4.5) << t.name;
  for (const Colour passage : t.passages) {
    EXPECT_GE(contrast_ratio(t.text, mixed(t.background, passage, 0.3)), 4.5) << t.name;
  }
}

// Success criterion 1.4.11 (AA): what carries meaning 3 : 1 against what is beside it.
TEST_P(ThemeContrast, marks_are_seen_against_the_ground) {
  const Theme& t = *GetParam();
  for (const Colour mark : {t.confirmed, t.doubt, t.proposed, t.selection, t.playhead, t.loop,
                            t.bar_line, t.alternative}) {
    EXPECT_GE(contrast_ratio(mark, t.background), 3.0)
        << t.name << " " << int{mark.red} << "," << int{mark.green} << "," << int{mark.blue};
  }
}

INSTANTIATE_TEST_SUITE_P(Themes, ThemeContrast, testing::Values(&dark_theme(), &light_theme()),
                         [](const auto& theme) { return std::string(theme.param->name); });

// The hues are those published: Okabe & Ito, "Color Universal Design", 2008 (their RGB table).
TEST(Palette, hues_are_those_of_okabe_and_ito) {
  EXPECT_EQ(okabe_ito::orange, (Colour{230, 159, 0}));
  EXPECT_EQ(okabe_ito::sky_blue, (Colour{86, 180, 233}));
  EXPECT_EQ(okabe_ito::bluish_green, (Colour{0, 158, 115}));
  EXPECT_EQ(okabe_ito::yellow, (Colour{240, 228, 66}));
  EXPECT_EQ(okabe_ito::blue, (Colour{0, 114, 178}));
  EXPECT_EQ(okabe_ito::vermillion, (Colour{213, 94, 0}));
  EXPECT_EQ(okabe_ito::reddish_purple, (Colour{204, 121, 167}));
}

}  // namespace
}  // namespace lowstride::desk
