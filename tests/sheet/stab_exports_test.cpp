#include <cstdlib>
#include <fstream>
#include <map>
#include <set>
#include <sstream>

#include <gtest/gtest.h>
#include <pugixml.hpp>

#include "src/neck/named_necks.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/page_bounds.hpp"
#include "src/take/edit.hpp"
#include "tests/sheet/arranged_takes.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::sheet {
namespace {

using example::all_styles;

/// Half the size a letter: pages can be laid out without any font.
double plain_measure(const std::string& text, const TextStyle& style) {
  return 0.5 * style.size_pt * static_cast<double>(text.size());
}

pugi::xml_document score_of(const take::Take& take, const LayoutOptions& options = {}) {
  pugi::xml_document document;
  const auto text = musicxml_file(take, options);
  EXPECT_TRUE(text && document.load_string(text->c_str()));
  return document;
}

/// The pitch that a note of the file sounds: written an octave up (MusicXML 4.0, transpose).
int sounding_midi(const pugi::xml_node& note) {
  constexpr int steps[]{9, 11, 0, 2, 4, 5, 7};  // A to G
  const pugi::xml_node pitch = note.child("pitch");
  return 12 * pitch.child("octave").text().as_int() +
         steps[pitch.child("step").text().get()[0] - 'A'] + pitch.child("alter").text().as_int();
}

TEST(StabExports, musicxml_has_each_string_of_each_stab_in_full_voices) {
  for (std::uint32_t seed = 1; seed <= 8; ++seed) {
    for (const parts::Style style : all_styles) {
      SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << parts::style_name(style));
      const take::Take take = example::random_arrangement(seed, style);
      const SheetLayout layout = lay_out(take);
      const pugi::xml_document score = score_of(take);
      std::size_t bar_index = 0;
      std::vector<std::multiset<std::pair<int, int>>> found;  // of each stab: string and fret
      std::map<std::pair<int, int>, std::size_t> heads;       // staff and voice
      for (const pugi::xml_node measure :
           score.child("score-partwise").child("part").children("measure")) {
        std::map<std::pair<int, int>, int> sums;
        for (const pugi::xml_node note : measure.children("note")) {
          const std::pair place{note.child("staff").text().as_int(),
                                note.child("voice").text().as_int()};
          if (!note.child("chord")) sums[place] += note.child("duration").text().as_int();
          if (note.child("pitch")) ++heads[place];
          if (place != std::pair{2, 4} || !note.child("pitch")) continue;
          const bool is_held = note.find_child_by_attribute("tie", "type", "stop");
          if (is_held) continue;
          if (!note.child("chord")) found.emplace_back();
          const pugi::xml_node technical = note.child("notations").child("technical");
          const int string = technical.child("string").text().as_int();
          const int fret = technical.child("fret").text().as_int();
          found.back().insert({string, fret});
          EXPECT_EQ(sounding_midi(note), neck::sounding_midi(take.neck, string, fret));
        }
        const SheetBar& bar = layout.bars[bar_index++];
        for (const auto& [place, sum] : sums) EXPECT_EQ(sum, bar.length_tatums()) << place.second;
        EXPECT_EQ(sums.size(), bar.stabs.empty() ? 2U : 4U);
      }
      ASSERT_EQ(found.size(), take.stabs.size());
      for (std::size_t i = 0; i < found.size(); ++i) {
        std::multiset<std::pair<int, int>> expected;
        for (const neck::Position& place : take.stabs[i].positions) {
          expected.insert({place.string_number, place.fret});
        }
        EXPECT_EQ(found[i], expected) << i;
      }
      EXPECT_EQ((heads[{1, 3}]), (heads[{2, 4}]));
      EXPECT_EQ((heads[{1, 1}]), (heads[{2, 2}]));
    }
  }
}

class StabMidi : public take::testing_help::FolderTest {};

TEST_F(StabMidi, has_every_string_when_it_is_struck) {
  if (std::system("/usr/bin/python3 -c 'import mido' 2>/dev/null") != 0) {
    GTEST_SKIP() << "python3-mido is not installed";
  }
  for (const parts::Style style : all_styles) {
    SCOPED_TRACE(parts::style_name(style));
    const take::Take take = example::arranged(style, 2.0);
    const auto path = folder_ / "part.mid";
    ASSERT_TRUE(export_midi(take, path));
    const auto told = folder_ / "told";
    const std::string command = std::string("/usr/bin/python3 '") + LOWSTRIDE_MIDI_READER + "' '" +
                                path.string() + "' > '" + told.string() + "'";
    ASSERT_EQ(std::system(command.c_str()), 0);
    std::multiset<std::pair<long, int>> found;  // milliseconds and pitch
    std::ifstream lines(told);
    for (std::string line; std::getline(lines, line);) {
      std::istringstream words(line);
      std::string kind;
      double seconds = 0.0;
      int midi = 0;
      if (words >> kind >> seconds >> midi; kind == "note_on") {
        found.insert({std::lround(100.0 * seconds), midi});
      }
    }
    std::multiset<std::pair<long, int>> expected;
    const auto add = [&](std::int64_t onset, const neck::Position& place) {
      const double seconds = static_cast<double>(onset) / static_cast<double>(take.time_base_hz);
      expected.insert({std::lround(100.0 * seconds),
                       neck::sounding_midi(take.neck, place.string_number, place.fret)});
    };
    for (const take::Note& note : take.notes) add(note.onset_samples, *note.position);
    for (const take::Stab& stab : take.stabs) {
      for (const neck::Position& place : stab.positions) add(stab.onset_samples, place);
    }
    EXPECT_EQ(found, expected);
  }
}

TEST(StabPages, have_every_number_and_head_within_the_margins) {
  for (const StaffKind staff : {StaffKind::staff_and_tab, StaffKind::tab_only}) {
    for (std::uint32_t seed = 1; seed <= 4; ++seed) {
      for (const parts::Style style : all_styles) {
        SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << parts::style_name(style));
        const take::Take take = example::random_arrangement(seed, style);
        PageOptions options;
        options.staff = staff;
        const auto pages = lay_out_pages({{take, {}}}, options, plain_measure);
        ASSERT_TRUE(pages) << pages.error().message;
        std::size_t numbers = 0;
        for (const Page& page : *pages) {
          for (const Mark& mark : page.marks) {
            const auto* text = std::get_if<TextMark>(&mark);
            const bool is_number = text != nullptr && text->style == fret_style;
            if (is_number && text->text.front() != '(') ++numbers;
          }
          const Bounds ink = bounds_of(page.marks, plain_measure);
          constexpr double least_margin = 18.0;
          EXPECT_GE(ink.left, least_margin);
          EXPECT_GE(ink.top, least_margin);
          EXPECT_LE(ink.right, page.width_pt - least_margin);
          EXPECT_LE(ink.bottom, page.height_pt - least_margin);
        }
        std::size_t expected = take.notes.size();
        for (const take::Stab& stab : take.stabs) expected += stab.positions.size();
        EXPECT_EQ(numbers, expected);
      }
    }
  }
}

// Common practice: of two heads a second apart the upper one stands to the right; a stab that
// touches the bass note stands beside it; signs less than a sixth apart do not stand in one column.
TEST(ColumnHeads, keep_out_of_each_others_way) {
  const auto pitch = [](int step, int octave, std::optional<int> sign = std::nullopt) {
    return WrittenPitch{{step, sign.value_or(0)}, octave, sign};
  };
  const WrittenPitch e3 = pitch(2, 3);
  const std::vector<WrittenPitch> seconds{pitch(3, 4), pitch(4, 4), pitch(0, 5)};  // F G C
  const ColumnHeads apart = column_heads(&e3, seconds, true, true);
  ASSERT_EQ(apart.heads.size(), 4U);
  EXPECT_FALSE(apart.heads[0].is_stab);
  EXPECT_EQ(apart.heads[1].dx_pt, 0.0);
  EXPECT_EQ(apart.heads[2].dx_pt, 2.0 * head_half_width_pt);
  EXPECT_EQ(apart.heads[3].dx_pt, 0.0);
  EXPECT_EQ(apart.right_pt, 3.0 * head_half_width_pt);

  const WrittenPitch g4 = pitch(4, 4);
  const std::vector<WrittenPitch> touching{pitch(5, 4), pitch(0, 5)};  // A C over G
  for (const ColumnHead& head : column_heads(&g4, touching, true, true).heads) {
    EXPECT_EQ(head.dx_pt, head.is_stab ? 2.0 * head_half_width_pt : 0.0);
  }

  const std::vector<WrittenPitch> flats{pitch(6, 4, -1), pitch(2, 5, -1), pitch(6, 5, -1)};
  const ColumnHeads signs = column_heads(nullptr, flats, true, true);  // Bb Eb Bb
  EXPECT_EQ(signs.heads[2].accidental_dx_pt, signs.heads[0].accidental_dx_pt);
  EXPECT_LT(signs.heads[1].accidental_dx_pt, signs.heads[2].accidental_dx_pt);
  EXPECT_GT(signs.left_pt, column_heads(nullptr, flats, true, false).left_pt);
}

/// A hammer-on, a pull-off and a slide, the last one over a bar line.
take::Take joined_line() {
  example::TakeMaker maker(100.0);
  maker.bars(2);
  maker.note(0, 0.95, "F1").note(1, 0.95, "G1").note(2, 0.95, "F1").note(3, 0.95, "A1");
  maker.note(4, 1.95, "B1").note(6, 1.95, "E1");
  maker.chord(0, 8, "F7");
  maker.take().notes[1].articulation = neck::Articulation::hammered;
  maker.take().notes[2].articulation = neck::Articulation::hammered;
  maker.take().notes[4].articulation = neck::Articulation::slid;
  return maker.done();
}

TEST(Joints, are_marked_at_both_ends_in_musicxml) {
  const auto count = [](const pugi::xml_document& score, const char* path) {
    return score.select_nodes(path).size();
  };
  const pugi::xml_document score = score_of(joined_line());
  for (const char* type : {"start", "stop"}) {
    const std::string is_type = std::string("[@type='") + type + "']";
    EXPECT_EQ(count(score, ("//note[staff=2]//hammer-on" + is_type).c_str()), 1U);
    EXPECT_EQ(count(score, ("//note[staff=2]//pull-off" + is_type).c_str()), 1U);
    for (const char* staff : {"1", "2"}) {
      const std::string on = std::string("//note[staff=") + staff + "]//";
      EXPECT_EQ(count(score, (on + "slur" + is_type).c_str()), 2U);
      EXPECT_EQ(count(score, (on + "slide" + is_type).c_str()), 1U);
    }
  }
  // The slide leads from the last note of bar 1 to the first of bar 2.
  EXPECT_EQ(count(score, "//measure[@number='1']/note[staff=1][last()]//slide[@type='start']"), 1U);
  // Cut out, bar 2 has nothing to slide from.
  LayoutOptions second;
  second.first_bar = 2;
  EXPECT_EQ(count(score_of(joined_line(), second), "//slide"), 0U);
}

TEST(Joints, are_drawn_and_explained_on_pages) {
  const auto marks_of = [](const take::Take& take) {
    const auto pages = lay_out_pages({{take, {}}}, {}, plain_measure);
    EXPECT_TRUE(pages);
    std::map<std::string, int> texts;
    for (const Mark& mark : pages->front().marks) {
      if (const auto* text = std::get_if<TextMark>(&mark)) ++texts[text->text];
    }
    return texts;
  };
  auto texts = marks_of(joined_line());
  EXPECT_EQ(texts["H"], 1);
  EXPECT_EQ(texts["P"], 1);
  EXPECT_EQ(texts["H, P  hammered on, pulled off     a line between two numbers: a slide"], 1);
  take::Take plucked = joined_line();
  for (take::Note& note : plucked.notes) note.articulation = neck::Articulation::plucked;
  auto plain = marks_of(plucked);
  EXPECT_EQ(plain["H"] + plain["P"], 0);
}

}  // namespace
}  // namespace lowstride::sheet
