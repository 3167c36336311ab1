#include "src/neck/named_necks.hpp"

#include <gtest/gtest.h>

#include "src/theory/pitch.hpp"

namespace lowstride::neck {
namespace {

// Open strings as handbooks print them, at A4 = 440 Hz (ISO 16:1975) in equal temperament.
TEST(NamedNecks, open_strings_sound_at_handbook_frequencies) {
  const auto expect_strings = [](const char* name, std::initializer_list<double> hz) {
    const auto neck = find_neck(name);
    ASSERT_TRUE(neck);
    ASSERT_EQ(neck->open_midi.size(), hz.size());
    std::size_t i = 0;
    for (const double expected : hz) {
      EXPECT_NEAR(theory::frequency_hz(neck->open_midi[i++]), expected, 0.0006) << name;
    }
  };
  expect_strings("bass", {41.203, 55.000, 73.416, 97.999});
  expect_strings("bass5", {30.868, 41.203, 55.000, 73.416, 97.999});
  expect_strings("guitar", {82.407, 110.000, 146.832, 195.998, 246.942, 329.628});
}

// The twelfth fret halves the string and the old rule divides what is left by 17.817 from fret to
// fret; at 864 mm frets 1 to 4 span 130 mm and 5 to 8 103 mm, at 648 mm frets 1 to 4 97 mm.
TEST(Frets, lie_where_equal_temperament_puts_them) {
  EXPECT_NEAR(fret_distance_mm(864.0, 12), 432.0, 1e-9);
  EXPECT_NEAR(fret_distance_mm(648.0, 24), 486.0, 1e-9);
  EXPECT_EQ(fret_distance_mm(864.0, 0), 0.0);
  double left = 648.0;
  for (int fret = 1; fret <= 24; ++fret) {
    left -= left / 17.817;
    EXPECT_NEAR(fret_distance_mm(648.0, fret), 648.0 - left, 0.05) << fret;
  }
  const auto span = [](double scale, int from, int to) {
    return fret_distance_mm(scale, to) - fret_distance_mm(scale, from);
  };
  EXPECT_NEAR(span(864.0, 1, 4), 130.0, 0.5);
  EXPECT_NEAR(span(864.0, 5, 8), 103.0, 0.5);
  EXPECT_NEAR(span(648.0, 1, 4), 97.0, 0.5);
}

TEST(Tuning, is_read_and_written) {
  const Neck bass = *find_neck("bass");
  EXPECT_EQ(tuning_text(bass), "E1 A1 D2 G2");
  EXPECT_TRUE(is_standard_tuning(bass));
  const auto lowered = with_tuning(bass, "D1, A1 D2 G2");
  ASSERT_TRUE(lowered);
  EXPECT_EQ(lowered->open_midi, (std::vector<int>{26, 33, 38, 43}));
  EXPECT_FALSE(is_standard_tuning(*lowered));
  const auto five = with_tuning(bass, "B0 E1 A1 D2 G2");
  ASSERT_TRUE(five);
  EXPECT_EQ(five->string_count(), 5);
  const auto named = with_tuning(*find_neck("guitar"), "guitar-drop-d");
  ASSERT_TRUE(named);
  EXPECT_EQ(tuning_text(*named), "D2 A2 D3 G3 B3 E4");
  for (const char* text : {"", "E1 H1", "E1 A1 D2 G2 x", "1 2 3 4 5 6 7 8 9 10 11 12 13"}) {
    const auto wrong = with_tuning(bass, text);
    ASSERT_FALSE(wrong) << text;
    EXPECT_EQ(wrong.error().code, ErrorCode::invalid_argument);
  }
}

TEST(Tuning, strings_are_named_highest_first) {
  EXPECT_EQ(string_names(*find_neck("bass")), (std::vector<std::string>{"G", "D", "A", "E"}));
  EXPECT_EQ(string_names(*find_neck("guitar")),
            (std::vector<std::string>{"e", "B", "G", "D", "A", "E"}));
  EXPECT_EQ(string_names(*find_neck("bass-drop-d")),
            (std::vector<std::string>{"G", "D", "A", "D"}));
}

TEST(NamedNecks, an_unknown_name_lists_the_known_ones) {
  EXPECT_TRUE(find_neck("Bass"));
  const auto unknown = find_neck("banjo");
  ASSERT_FALSE(unknown);
  EXPECT_EQ(unknown.error().code, ErrorCode::not_found);
  EXPECT_NE(unknown.error().message.find("bass5"), std::string::npos);
  for (const Neck& neck : named_necks()) EXPECT_TRUE(check(neck)) << neck.name;
}

TEST(Neck, nonsense_is_refused) {
  Neck neck;
  neck.capo = 20;
  EXPECT_FALSE(check(neck));
  neck = {};
  neck.fret_count = 0;
  EXPECT_FALSE(check(neck));
  neck = {};
  neck.scale_mm = 0.0;
  EXPECT_FALSE(check(neck));
  neck = {};
  neck.open_midi = {300};
  EXPECT_FALSE(check(neck));
  neck.open_midi = {};
  EXPECT_FALSE(check(neck));
}

TEST(Neck, a_capo_raises_every_string_and_takes_frets) {
  Neck neck = *find_neck("guitar");
  neck.capo = 3;
  EXPECT_EQ(sounding_midi(neck, 6, 0), 43);
  EXPECT_EQ(sounding_midi(neck, 1, 2), 69);
  EXPECT_EQ(lowest_midi(neck), 43);
  EXPECT_EQ(highest_midi(neck), 64 + 22);
  EXPECT_EQ(last_fret(neck), 19);
}

}  // namespace
}  // namespace lowstride::neck
