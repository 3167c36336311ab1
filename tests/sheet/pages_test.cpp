#include "src/sheet/pages.hpp"

#include <cstdlib>
#include <set>

#include <gtest/gtest.h>
#include <pugixml.hpp>

#include "src/sheet/export.hpp"
#include "src/sheet/page_bounds.hpp"
#include "src/sheet/page_painter.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

/// Half the size a letter: pages can be laid out without any font.
double plain_measure(const std::string& text, const TextStyle& style) {
  return 0.5 * style.size_pt * static_cast<double>(text.size());
}

std::size_t text_count(const std::vector<Page>& pages, const std::string& text) {
  std::size_t count = 0;
  for (const Page& page : pages) {
    for (const Mark& mark : page.marks) {
      const auto* words = std::get_if<TextMark>(&mark);
      count += words != nullptr && words->text == text ? 1U : 0U;
    }
  }
  return count;
}

/// A chorus of quarters, `bar_count` bars, every note another fret.
take::Take quarters(int bar_count) {
  TakeMaker maker(120.0);
  maker.bars(bar_count);
  maker.take().title = "Ferry Slip";
  constexpr const char* names[]{"E1", "F1", "G1", "A1", "B1", "C2", "D2", "E2", "F2", "G2", "A2"};
  for (int i = 0; i < 4 * bar_count; ++i) maker.note(i, 0.95, names[i % 11]);
  for (int i = 0; i < bar_count; ++i)
    maker.chord(4.0 * i, 4.0 * i + 4.0, i % 2 == 0 ? "G7" : "Cm7");
  return maker.done();
}

TEST(Pages, nothing_lies_outside_the_margins_whatever_the_paper) {
  for (const PaperSize paper : {PaperSize::a4, PaperSize::letter}) {
    for (const StaffKind staff : {StaffKind::staff_and_tab, StaffKind::tab_only}) {
      PageOptions options;
      options.paper = paper;
      options.staff = staff;
      for (const take::Take& take : {example::walk(), quarters(64)}) {
        const auto pages =
            lay_out_pages({{take, "Level 2: roots and fifths"}}, options, plain_measure);
        ASSERT_TRUE(pages) << pages.error().message;
        for (const Page& page : *pages) {
          const Bounds ink = bounds_of(page.marks, plain_measure);
          constexpr double least_margin = 18.0;  // what printers leave white, a quarter of an inch
          EXPECT_GE(ink.left, least_margin);
          EXPECT_GE(ink.top, least_margin);
          EXPECT_LE(ink.right, page.width_pt - least_margin);
          EXPECT_LE(ink.bottom, page.height_pt - least_margin);
        }
      }
    }
  }
}

TEST(Pages, every_fret_chord_and_system_number_is_there) {
  const auto pages = lay_out_pages({{quarters(24), {}}}, {}, plain_measure);
  ASSERT_TRUE(pages);
  // A chorus of 24 bars, four a system: G7 and Cm7 twelve times each, their kinds smaller.
  EXPECT_EQ(text_count(*pages, "G"), 12U);
  EXPECT_EQ(text_count(*pages, "m7"), 12U);
  for (const char* number : {"1", "5", "9", "13", "17", "21"}) {
    EXPECT_GE(text_count(*pages, number), 1U) << number;
  }
  const take::Take take = quarters(24);
  std::map<std::string, std::size_t> frets;
  for (const take::Note& note : take.notes) ++frets[std::to_string(note.position->fret)];
  for (const auto& [fret, count] : frets) EXPECT_GE(text_count(*pages, fret), count) << fret;
}

TEST(Pages, a_section_begins_a_page_and_pages_are_numbered) {
  const auto pages =
      lay_out_pages({{quarters(4), "Level 1"}, {quarters(4), "Level 2"}}, {}, plain_measure);
  ASSERT_TRUE(pages);
  ASSERT_EQ(pages->size(), 2U);
  EXPECT_EQ(text_count({(*pages)[1]}, "Level 2"), 1U);
  EXPECT_EQ(text_count({(*pages)[1]}, "2 / 2"), 1U);
}

/// Heights of the staves of a page, from the first line of a staff to its fifth: five long lines of
/// one length, equally far apart.
double staff_height(const Page& page) {
  std::vector<double> lines;
  for (const Mark& mark : page.marks) {
    const auto* line = std::get_if<LineMark>(&mark);
    if (line != nullptr && line->from.y == line->to.y && line->to.x - line->from.x > 300.0) {
      lines.push_back(line->from.y);
    }
  }
  return lines.size() < 5 ? 0.0 : lines[4] - lines[0];
}

// 32 bars of quarters, no two lines alike: eight systems.
TEST(Pages, a_tune_of_32_bars_stands_on_one_page_and_is_never_set_too_small_to_read) {
  constexpr double points_a_mm = 72.0 / 25.4;
  for (const PaperSize paper : {PaperSize::a4, PaperSize::letter}) {
    for (const StaffKind staff : {StaffKind::staff_and_tab, StaffKind::tab_only}) {
      PageOptions options;
      options.paper = paper;
      options.staff = staff;
      const auto pages =
          lay_out_pages({{quarters(32), "Level 5: approaches"}}, options, plain_measure);
      ASSERT_TRUE(pages) << pages.error().message;
      ASSERT_EQ(pages->size(), 1U);
      if (staff == StaffKind::staff_and_tab) {
        EXPECT_GE(staff_height(pages->front()), 5.9 * points_a_mm);
      }
      for (const char* number : {"1", "5", "9", "13", "17", "21", "25", "29"}) {
        EXPECT_GE(text_count(*pages, number), 1U) << number;
      }
    }
  }
  // What fits without is left as large as it was, and what needs more pages too.
  for (const int bar_count : {12, 24, 64}) {
    const auto pages = lay_out_pages({{quarters(bar_count), {}}}, {}, plain_measure);
    ASSERT_TRUE(pages) << pages.error().message;
    EXPECT_NEAR(staff_height(pages->front()), 20.0, 1e-9) << bar_count;
  }
}

// A recording ends on the one of the bar after its last: that bar is no line of its own.
TEST(Pages, a_lone_last_bar_stands_with_the_four_before_it) {
  const auto pages = lay_out_pages({{quarters(9), {}}}, {}, plain_measure);
  ASSERT_TRUE(pages);
  EXPECT_GE(text_count(*pages, "5"), 1U);
  // Bar 9 has no system and so no number; its fret numbers are not above 8.
  EXPECT_EQ(text_count(*pages, "9"), 0U);
}

// Systems of one page do not run into one another however close they stand.
TEST(Pages, close_systems_keep_apart) {
  const auto pages = lay_out_pages({{quarters(32), "Level 5: approaches"}}, {}, plain_measure);
  ASSERT_TRUE(pages);
  ASSERT_EQ(pages->size(), 1U);
  // Between the last tab line of a system and the chord names of the next one.
  std::vector<double> tab_lines;
  std::vector<double> chord_tops;
  for (const Mark& mark : pages->front().marks) {
    if (const auto* line = std::get_if<LineMark>(&mark);
        line != nullptr && line->grey == 0.25 && line->from.y == line->to.y) {
      tab_lines.push_back(line->from.y);
    }
    if (const auto* words = std::get_if<TextMark>(&mark); words != nullptr && words->text == "G") {
      chord_tops.push_back(words->place.y - 0.75 * words->style.size_pt);
    }
  }
  ASSERT_EQ(tab_lines.size(), 8U * 4U);
  for (std::size_t system = 0; system + 1 < 8; ++system) {
    const double bottom = tab_lines[4 * system + 3];
    double next = 1e9;
    for (const double top : chord_tops) {
      if (top > bottom) next = std::min(next, top);
    }
    EXPECT_GT(next - bottom, 6.0) << "system " << system;
  }
}

TEST(Pages, what_cannot_be_laid_out_says_why) {
  TakeMaker maker(120.0);
  maker.note(0, 1, "E1");
  const auto no_beats = lay_out_pages({{maker.done(), {}}}, {}, plain_measure);
  ASSERT_FALSE(no_beats);
  EXPECT_NE(no_beats.error().message.find("no beats"), std::string::npos);
  PageOptions options;
  options.layout.first_bar = 90;
  EXPECT_FALSE(lay_out_pages({{quarters(4), {}}}, options, plain_measure));
}

// A flat is a sign in print, and a b inside a word is a letter.
TEST(Pages, chord_names_come_apart_for_print) {
  const ChordName name = chord_name_parts("Bbm7b5/Eb");
  EXPECT_EQ(name.root, "B\u266D");
  EXPECT_EQ(name.kind, "m7\u266D5");
  EXPECT_EQ(name.bass, "/E\u266D");
  EXPECT_EQ(chord_name_parts("N.C.").root, "N.C.");
  EXPECT_EQ(chord_name_parts("F#").root, "F\u266F");
}

// Worked by hand: eighths on beats 1 and 2, a quarter, and a triplet of which the middle is a rest.
TEST(Engraving, beams_join_what_lies_in_a_beat) {
  const auto value = [](std::optional<std::size_t> note, int onset, NoteValue sign) {
    WrittenValue made;
    made.note = note;
    made.onset_tatums = onset;
    made.value = sign;
    return made;
  };
  const std::vector<WrittenValue> values{
      value(0, 0, NoteValue::eighth),   value(1, 6, NoteValue::eighth),
      value(2, 12, NoteValue::eighth),  value(3, 18, NoteValue::eighth),
      value(4, 24, NoteValue::quarter), value(5, 36, NoteValue::eighth),
      value({}, 40, NoteValue::eighth), value(6, 44, NoteValue::eighth)};
  const std::vector<std::vector<std::size_t>> expected{{0, 1}, {2, 3}};
  EXPECT_EQ(beam_groups(values), expected);
}

TEST(Engraving, bars_fill_their_line_exactly_and_longer_notes_get_more_room) {
  const take::Take walk = example::walk();
  const SheetLayout layout = lay_out(walk);
  const auto pitches = written_pitches(walk, layout);
  std::vector<EngravedBar> bars;
  bars.reserve(layout.bars.size());
  for (std::size_t i = 0; i < layout.bars.size(); ++i) {
    bars.push_back(engrave_bar(layout.bars[i], i, pitches[i], plain_measure));
  }
  const double stretch = stretch_for(bars, 480.0);
  double width = 0.0;
  for (const EngravedBar& bar : bars) width += bar.width_pt(stretch);
  EXPECT_NEAR(width, 480.0, 0.01);
  const auto places = bars[0].places_pt(60.0);
  // Quarter, quarter, eighth, eighth, quarter.
  EXPECT_GT(places[1] - places[0], 1.3 * (places[3] - places[2]));
}

class PrintedPages : public take::testing_help::FolderTest {
 protected:
  [[nodiscard]] std::string told_by(const std::string& command) const {
    const std::string line = command + " >'" + (folder_ / "told").string() + "' 2>&1";
    EXPECT_EQ(std::system(line.c_str()), 0) << command;
    return bytes_of(folder_ / "told");
  }
};

// Read by poppler's tools, which are not ours: fonts embedded, text found, paper and pages right.
TEST_F(PrintedPages, poppler_finds_fonts_text_paper_and_pages) {
  if (std::system("pdffonts -v >/dev/null 2>&1") != 0) GTEST_SKIP() << "poppler-utils is missing";
  const std::string path = (folder_ / "sheet.pdf").string();
  PageOptions options;
  take::Take take = quarters(64);
  take.composer = "A. Player";
  ASSERT_TRUE(export_pdf({{take, {}}}, path, options));
  const std::string info = told_by("pdfinfo '" + path + "'");
  EXPECT_NE(info.find("595.276 x 841.89 pts (A4)"), std::string::npos) << info;
  EXPECT_NE(info.find("Title:           Ferry Slip"), std::string::npos) << info;
  EXPECT_EQ(info.find("CreationDate"), std::string::npos) << info;
  EXPECT_EQ(info.find("Pages:           1"), std::string::npos) << info;
  const std::string fonts = told_by("pdffonts '" + path + "'");
  std::istringstream lines(fonts);
  std::string line;
  std::getline(lines, line);
  std::getline(lines, line);
  std::size_t font_count = 0;
  while (std::getline(lines, line)) {
    ++font_count;
    // Columns: name, type, encoding, emb, sub, uni; every font is embedded and maps to Unicode.
    EXPECT_NE(line.find("yes yes yes"), std::string::npos) << line;
  }
  EXPECT_GE(font_count, 2U);
  const std::string text = told_by("pdftotext -layout '" + path + "' -");
  for (const char* words : {"Ferry Slip", "A. Player", "= 120", "Cm7", "G7"}) {
    EXPECT_NE(text.find(words), std::string::npos) << words << "\n" << text;
  }
  options.paper = PaperSize::letter;
  ASSERT_TRUE(export_pdf({{take, {}}}, path, options));
  EXPECT_NE(told_by("pdfinfo '" + path + "'").find("612 x 792 pts (letter)"), std::string::npos);
}

TEST_F(PrintedPages, the_same_take_gives_the_same_bytes) {
  const std::vector<PageSection> sections{{example::walk(), {}}};
  const auto once = pdf_file(sections);
  ASSERT_TRUE(once) << once.error().message;
  EXPECT_TRUE(*once == *pdf_file(sections));
  for (const PictureKind kind : {PictureKind::svg, PictureKind::png}) {
    ASSERT_TRUE(export_pictures(sections, folder_ / "one", kind));
    ASSERT_TRUE(export_pictures(sections, folder_ / "two", kind));
    EXPECT_TRUE(bytes_of(folder_ / "one") == bytes_of(folder_ / "two"));
  }
}

TEST_F(PrintedPages, pictures_are_a_file_a_page) {
  const std::vector<PageSection> sections{{quarters(64), {}}};
  const auto paths = export_pictures(sections, folder_ / "sheet.svg", PictureKind::svg);
  ASSERT_TRUE(paths) << paths.error().message;
  ASSERT_GE(paths->size(), 2U);
  EXPECT_EQ((*paths)[1], folder_ / "sheet-2.svg");
  pugi::xml_document document;
  EXPECT_TRUE(document.load_file((*paths)[1].c_str()));
  EXPECT_STREQ(document.document_element().name(), "svg");
  const auto preview =
      export_pictures({{example::walk(), {}}}, folder_ / "page.png", PictureKind::png);
  ASSERT_TRUE(preview);
  // The signature of the format (ISO/IEC 15948) and the width of A4 at 150 dots an inch: 1241.
  const std::string bytes = bytes_of(preview->front());
  ASSERT_GT(bytes.size(), 24U);
  EXPECT_EQ(bytes.substr(0, 8), "\x89PNG\r\n\x1A\n");
  EXPECT_EQ(static_cast<unsigned char>(bytes[18]) * 256 + static_cast<unsigned char>(bytes[19]),
            1241);
}

}  // namespace
}  // namespace lowstride::sheet
