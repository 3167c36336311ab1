#include "src/analysis/chord_chart.hpp"

#include <unistd.h>

#include <fstream>

#include <gtest/gtest.h>

namespace lowstride::analysis {
namespace {

class Chart : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (std::filesystem::temp_directory_path() / "lowstride-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder_ = pattern;
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  [[nodiscard]] Result<ChordChart> read(const std::string& text) const {
    std::ofstream(folder_ / "chart.txt") << text;
    return ChordChart::read(folder_ / "chart.txt");
  }
  /// Bars of four beats, a beat a second, from bar `first` on; bar 1 begins at second 10.
  [[nodiscard]] static dsp::DecodedGrid grid(int first, int last) {
    dsp::DecodedGrid grid;
    for (int bar = first; bar <= last; ++bar) {
      for (int beat = 1; beat <= 4; ++beat) {
        grid.beats.push_back({10.0 + 4.0 * (bar - 1) + beat - 1, bar, beat, 1.0});
      }
    }
    return grid;
  }

  std::filesystem::path folder_;
};

TEST_F(Chart, goes_round_from_bar_one_and_shares_a_bar_between_its_chords) {
  const auto chart = read("Verse\n# a remark | with a bar\n| F7 | Bb7 Cm7b5 |\n");
  ASSERT_TRUE(chart) << chart.error().message;
  const auto chords = chart->in_time(grid(0, 3));
  ASSERT_EQ(chords.size(), 4U);
  const std::vector<std::pair<double, double>> times{{10, 14}, {14, 16}, {16, 18}, {18, 22}};
  const std::vector<int> roots{5, 10, 0, 5};
  for (std::size_t i = 0; i < chords.size(); ++i) {
    EXPECT_DOUBLE_EQ(chords[i].begin_seconds, times[i].first);
    EXPECT_DOUBLE_EQ(chords[i].end_seconds, times[i].second);
    EXPECT_EQ(chords[i].chord.root_pc, roots[i]);
  }
  EXPECT_EQ(chords[2].chord.quality, dsp::ChordQuality::half_diminished_seventh);
}

TEST_F(Chart, a_percent_sign_and_an_empty_bar_repeat) {
  const auto chart = read("| F7 | % | | Bb7 |");
  ASSERT_TRUE(chart) << chart.error().message;
  const auto chords = chart->in_time(grid(1, 4));
  ASSERT_EQ(chords.size(), 4U);
  EXPECT_EQ(chords[1].chord.root_pc, 5);
  EXPECT_EQ(chords[2].chord.root_pc, 5);
  EXPECT_EQ(chords[3].chord.root_pc, 10);
}

TEST_F(Chart, lines_with_times_are_taken_as_they_are) {
  const auto chart = read("0.5 2.5 F:7\n2.5\t4.0\tBb:7/3\n");
  ASSERT_TRUE(chart) << chart.error().message;
  EXPECT_TRUE(chart->is_timed());
  const auto chords = chart->in_time({});
  ASSERT_EQ(chords.size(), 2U);
  EXPECT_DOUBLE_EQ(chords[1].begin_seconds, 2.5);
  EXPECT_EQ(chords[1].chord.bass_pc, 2);
}

TEST_F(Chart, what_makes_no_sense_is_named_with_its_line) {
  const auto wrong_label = read("| F7 |\n| Bb7 | Hello |\n");
  ASSERT_FALSE(wrong_label);
  EXPECT_NE(wrong_label.error().message.find("line 2: 'Hello'"), std::string::npos)
      << wrong_label.error().message;
  EXPECT_FALSE(read(""));
  EXPECT_FALSE(read("| % | F7 |"));
  EXPECT_FALSE(read("3 2 F7\n"));
  EXPECT_FALSE(read("0 2 F7\n| F7 |\n"));
  EXPECT_FALSE(ChordChart::read(folder_ / "none.txt"));
}

}  // namespace
}  // namespace lowstride::analysis
