#include "src/sheet/remarks.hpp"

#include <gmock/gmock.h>
#include <pugixml.hpp>

#include "src/sheet/engraving.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/pages.hpp"
#include "src/sheet/text_tab.hpp"
#include "src/take/edit.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

/// Eight bars of quarters with three remarks: bar 2, the note on its third beat, one just ahead of
/// bar 6.
take::Take with_remarks() {
  TakeMaker maker(120.0);
  maker.bars(8);
  constexpr const char* names[]{"E1", "F1", "G1", "A1", "B1", "C2", "D2"};
  for (int i = 0; i < 32; ++i) maker.note(i == 20 ? 19.94 : i, i == 19 ? 0.9 : 0.95, names[i % 7]);
  take::Take take = maker.done();
  const auto add = [&take](const take::AddRemark& edit) { ASSERT_TRUE(take::apply(take, edit)); };
  add({.at_samples = take.beats[5].time_samples, .text = "softer from here"});
  add({.note = take.notes[6].id, .text = "keep the thumb planted"});
  add({.note = take.notes[20].id, .text = "lead into the turnaround"});
  return take;
}

TEST(SheetRemarks, name_their_place_as_players_do) {
  const take::Take take = with_remarks();
  const auto remarks = remarks_in(take, lay_out(take));
  ASSERT_EQ(remarks.size(), 3U);
  EXPECT_EQ(remarks[0].place, "Bar 2");
  EXPECT_EQ(remarks[1].place, "Bar 2, beat 3");
  EXPECT_EQ(remarks[2].place, "Bar 6, beat 1");
  EXPECT_EQ(remarks[2].bar_index, 5U);
  LayoutOptions part;
  part.first_bar = 3;
  part.last_bar = 6;
  ASSERT_EQ(remarks_in(take, lay_out(take, part)).size(), 1U);
}

TEST(SheetRemarks, stand_under_their_system_of_text_tab) {
  TextTabOptions options;
  options.width_columns = 60;
  const std::string text = render_text_tab(with_remarks(), options);
  const auto softer = text.find("Bar 2: softer from here");
  ASSERT_NE(softer, std::string::npos) << text;
  EXPECT_NE(text.find("Bar 2, beat 3: keep the thumb planted"), std::string::npos);
  // Bars 5 and on begin a later system.
  EXPECT_LT(softer, text.find("\n 5"));
  EXPECT_GT(text.find("Bar 6, beat 1: lead into"), text.find("\n 5"));
}

// Column by column: a sign stands under the number of the note that it is about.
TEST(SheetRemarks, on_notes_have_their_number_at_the_note) {
  take::Take take = with_remarks();
  // Two on one note, and one on a note in doubt.
  ASSERT_TRUE(take::apply(take, take::AddRemark{.note = take.notes[6].id, .text = "let it ring"}));
  TextTabOptions options;
  options.width_columns = 100;
  options.has_heading = false;
  const std::string text = render_text_tab(take, options);
  std::vector<std::string> lines;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = text.find('\n', begin);
    lines.push_back(text.substr(begin, end - begin));
    begin = end + 1;
  }
  const auto row_of = [&](const std::string& sign) {
    return std::ranges::find_if(lines, [&](const std::string& line) {
      const auto at = line.find(sign);
      return at != std::string::npos && line.find_first_not_of(' ') == at;
    });
  };
  const auto signs = row_of("1, 2)");
  ASSERT_NE(signs, lines.end()) << text;
  // Of eight quarters of bars 1 and 2 the seventh: its count is a 3 in the row above.
  const std::size_t column = signs->find("1, 2)");
  const std::string& counts = *(signs - 1);
  EXPECT_EQ(counts[column], '3') << text;
  EXPECT_EQ(std::ranges::count_if(counts.substr(0, column), [](char c) { return c != ' '; }), 6);
  EXPECT_NE(text.find("   1) Bar 2, beat 3: keep the thumb planted"), std::string::npos) << text;
  EXPECT_NE(text.find("   2) Bar 2, beat 3: let it ring"), std::string::npos) << text;
  EXPECT_NE(text.find("   Bar 2: softer from here"), std::string::npos) << "no note, no number";
}

TEST(SheetRemarks, on_notes_have_their_number_on_the_page_too) {
  const take::Take take = with_remarks();
  const auto measure = [](const std::string& text, const TextStyle& style) {
    return 0.5 * style.size_pt * static_cast<double>(text.size());
  };
  for (const StaffKind kind : {StaffKind::staff_and_tab, StaffKind::tab_only}) {
    PageOptions options;
    options.staff = kind;
    const auto pages = lay_out_pages({{take, {}}}, options, measure);
    ASSERT_TRUE(pages);
    const TextMark* sign = nullptr;
    std::vector<double> number_columns;
    for (const Mark& mark : pages->front().marks) {
      const auto* text = std::get_if<TextMark>(&mark);
      if (text == nullptr) continue;
      if (text->text == "1)") sign = text;
      if (text->style == fret_style) number_columns.push_back(text->place.x);
    }
    ASSERT_NE(sign, nullptr);
    // Bar 2, beat 3 is the seventh number of the line.
    ASSERT_GT(number_columns.size(), 7U);
    EXPECT_NEAR(sign->place.x, number_columns[6], 0.01);
  }
}

TEST(SheetRemarks, signs_that_would_run_into_each_other_stand_in_two_rows) {
  TakeMaker maker(120.0);
  maker.bars(1);
  for (int i = 0; i < 16; ++i) maker.note(0.25 * i, 0.24, i % 2 == 0 ? "E1" : "G1");
  take::Take take = maker.done();
  for (int i = 4; i < 7; ++i) {
    ASSERT_TRUE(take::apply(
        take, take::AddRemark{.note = take.notes[static_cast<std::size_t>(i)].id, .text = "x"}));
  }
  const std::string text = render_text_tab(take, {});
  for (const char* sign : {"1)", "2)", "3)"}) {
    const auto first = text.find(sign);
    ASSERT_NE(first, std::string::npos) << text;
    EXPECT_NE(text.find(sign, first + 1), std::string::npos) << "at the note and under the system";
  }
}

TEST(SheetRemarks, are_broken_at_spaces_and_lose_no_word) {
  const auto lines = broken_into_lines("keep the thumb  planted",
                                       [](const std::string& line) { return line.size() <= 9; });
  EXPECT_THAT(lines, testing::ElementsAre("keep the", "thumb", "planted"));
  EXPECT_TRUE(broken_into_lines("", [](const std::string&) { return true; }).empty());
}

TEST(SheetRemarks, are_printed_on_pages_and_in_the_score) {
  take::Take take = with_remarks();
  const auto measure = [](const std::string& text, const TextStyle& style) {
    return 0.5 * style.size_pt * static_cast<double>(text.size());
  };
  const auto pages = lay_out_pages({{take, {}}}, {}, measure);
  ASSERT_TRUE(pages);
  std::vector<std::string> words;
  for (const Mark& mark : pages->front().marks) {
    if (const auto* text = std::get_if<TextMark>(&mark)) words.push_back(text->text);
  }
  EXPECT_THAT(words, testing::IsSupersetOf({"Bar 2: softer from here",
                                            "1) Bar 2, beat 3: keep the thumb planted",
                                            "2) Bar 6, beat 1: lead into the turnaround"}));
  pugi::xml_document document;
  ASSERT_TRUE(document.load_string(musicxml_file(take)->c_str()));
  EXPECT_TRUE(document.select_node("//measure[@number='2']//words[.='softer from here']"));
}

}  // namespace
}  // namespace lowstride::sheet
