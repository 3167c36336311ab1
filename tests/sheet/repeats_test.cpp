#include "src/sheet/repeats.hpp"

#include <gtest/gtest.h>

#include "src/sheet/text_tab.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

/// One letter a bar: A and B are lines of their own, each under its chord.
take::Take form(const std::string& letters) {
  TakeMaker maker(120.0);
  maker.bars(static_cast<int>(letters.size()));
  constexpr const char* roots[]{"E1", "F1", "G1", "A1", "B1", "C2", "D2"};
  for (std::size_t i = 0; i < letters.size(); ++i) {
    const auto at = static_cast<double>(4 * i);
    const auto which = static_cast<std::size_t>(letters[i] - 'A');
    maker.chord(at, at + 4, std::string(1, "EFGABCD"[which]) + "7");
    for (int beat = 0; beat < 4; ++beat)
      maker.note(at + beat, 0.95, roots[(which + (beat == 3 ? 1 : 0)) % 7]);
  }
  return maker.done();
}

/// The bars that are left: a number a bar, signs around them.
std::string folded(const take::Take& take) {
  LayoutOptions options;
  options.has_repeats = true;
  std::string text;
  for (const SheetBar& bar : lay_out(take, options).bars) {
    if (!text.empty()) text += ' ';
    if (bar.begins_repeat) text += "|:";
    if (bar.ending > 0) text += std::to_string(bar.ending) + ".";
    text += std::to_string(bar.number);
    if (bar.repeat_times > 0) text += ":|" + std::to_string(bar.repeat_times);
  }
  return text;
}

TEST(Repeats, stretches_that_come_again_are_written_once) {
  EXPECT_EQ(folded(form("ABCD")), "1 2 3 4");
  EXPECT_EQ(folded(form("ABAB")), "|:1 2:|2");
  EXPECT_EQ(folded(form("ABABABC")), "|:1 2:|3 7");
  EXPECT_EQ(folded(form("ABCDABCDE")), "|:1 2 3 4:|2 9");
  EXPECT_EQ(folded(form("AAAB")), "1 2 3 4");
  EXPECT_EQ(folded(form("AAAAB")), "|:1:|4 5");
  EXPECT_EQ(folded(form("EABAB")), "1 |:2 3:|2");
}

TEST(Repeats, another_end_becomes_a_second_ending) {
  EXPECT_EQ(folded(form("ABCDABCE")), "|:1 2 3 1.4:|2 2.8");
  EXPECT_EQ(folded(form("ABCDABCEF")), "|:1 2 3 1.4:|2 2.8 9");
}

TEST(Repeats, one_note_or_doubt_that_differs_keeps_both) {
  take::Take take = form("ABAB");
  take.notes[9].confidence = 0.1;
  EXPECT_EQ(folded(take), "1 2 3 4");
  take = form("ABAB");
  take.passages.push_back({take::PassageId{take.next_id++},
                           "solo",
                           take.beats[8].time_samples,
                           take.beats[12].time_samples,
                           {}});
  EXPECT_EQ(folded(take), "1 2 3 4");
}

TEST(Repeats, are_spelled_in_text_tab) {
  TextTabOptions options;
  options.layout.has_repeats = true;
  const std::string tab = render_text_tab(form("ABABABCD"), options);
  EXPECT_NE(tab.find("1 (3, 5)"), std::string::npos) << tab;
  EXPECT_NE(tab.find("3 times"), std::string::npos) << tab;
  EXPECT_NE(tab.find("|o"), std::string::npos) << tab;
  EXPECT_NE(tab.find("o|"), std::string::npos) << tab;
  EXPECT_NE(tab.find("repeat"), std::string::npos) << tab;
  options.layout.has_repeats = false;
  EXPECT_EQ(render_text_tab(form("ABABABCD"), options).find("|o"), std::string::npos);
}

}  // namespace
}  // namespace lowstride::sheet
