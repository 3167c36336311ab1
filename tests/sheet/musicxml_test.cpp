#include <map>
#include <random>

#include <gtest/gtest.h>
#include <pugixml.hpp>

#include "src/sheet/export.hpp"
#include "src/sheet/rhythm_values.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

/// Reads a score by its elements, as another program would.
struct ReadScore {
  pugi::xml_document document;

  explicit ReadScore(const take::Take& take) {
    const auto text = musicxml_file(take);
    EXPECT_TRUE(text && document.load_string(text->c_str()));
  }
  [[nodiscard]] pugi::xpath_node_set find(const char* path) const {
    return document.select_nodes(path);
  }
  [[nodiscard]] std::size_t count(const char* path) const { return find(path).size(); }
  [[nodiscard]] std::string text(const char* path) const {
    return document.select_node(path).node().text().get();
  }
};

/// Durations of each staff add up to the beats of the bar, in the divisions that the score states.
void expect_full_measures(const ReadScore& score, const SheetLayout& layout) {
  const auto measures = score.find("//measure");
  ASSERT_EQ(measures.size(), layout.bars.size());
  for (std::size_t i = 0; i < measures.size(); ++i) {
    std::map<int, int> sums;
    for (const pugi::xml_node note : measures[i].node().children("note")) {
      sums[note.child("staff").text().as_int()] += note.child("duration").text().as_int();
    }
    EXPECT_EQ(sums[1], layout.bars[i].length_tatums()) << "bar " << layout.bars[i].number;
    EXPECT_EQ(sums[2], layout.bars[i].length_tatums()) << "bar " << layout.bars[i].number;
    EXPECT_EQ(measures[i].node().child("backup").child("duration").text().as_int(),
              layout.bars[i].length_tatums());
  }
}

TEST(MusicXml, holds_every_note_fret_and_chord_of_a_walk) {
  const take::Take take = example::walk();
  const ReadScore score(take);
  expect_full_measures(score, lay_out(take));
  // Each staff: 18 notes, one of them tied on over the bar line.
  EXPECT_EQ(score.count("//note[staff=1][pitch][not(tie[@type='stop'])]"), 18U);
  EXPECT_EQ(score.count("//note[staff=2][pitch][not(tie[@type='stop'])]"), 18U);
  EXPECT_EQ(score.count("//note[staff=1]/tie[@type='stop']"), 1U);
  EXPECT_EQ(score.count("//technical[string and fret]"), 19U);
  EXPECT_EQ(score.count("//harmony"), 6U);
  EXPECT_EQ(score.count("//note[staff=1][time-modification]"), 3U);
  EXPECT_EQ(score.count("//note[staff=1]//tuplet[@type='start']"), 1U);
  EXPECT_EQ(score.count("//note[staff=1][notehead='x']"), 1U);
  EXPECT_EQ(score.count("//note[staff=1]/notehead[@parentheses='yes']"), 1U);
  EXPECT_EQ(score.text("//key/fifths"), "-2");
  EXPECT_EQ(score.text("//time/beats"), "4");
  EXPECT_EQ(score.text("//sound/swing/first"), "2");
  EXPECT_EQ(score.text("//sound/swing/second"), "1");
  EXPECT_EQ(score.text("//work-title"), "Cellar Stairs");
}

// A bass sounds an octave below its notes (common practice): B flat 1 is written B flat 2, with
// octave-change -1. Tab lines are numbered from the bottom: line 1 is the E string.
TEST(MusicXml, is_written_an_octave_up_and_says_so) {
  const ReadScore score(example::walk());
  const auto first = score.find("//note[staff=1][pitch]")[0].node().child("pitch");
  EXPECT_STREQ(first.child("step").text().get(), "B");
  EXPECT_STREQ(first.child("alter").text().get(), "-1");
  EXPECT_STREQ(first.child("octave").text().get(), "2");
  EXPECT_EQ(score.text("//transpose/octave-change"), "-1");
  EXPECT_EQ(score.text("//clef[@number='1']/sign"), "F");
  EXPECT_EQ(score.text("//staff-details/staff-lines"), "4");
  EXPECT_EQ(score.text("//staff-tuning[@line='1']/tuning-step"), "E");
  EXPECT_EQ(score.text("//staff-tuning[@line='1']/tuning-octave"), "1");
  EXPECT_EQ(score.text("//staff-tuning[@line='4']/tuning-step"), "G");
  EXPECT_EQ(score.text("(//technical)[1]/string"), "3");
  EXPECT_EQ(score.text("(//technical)[1]/fret"), "1");
}

// In B flat (B and E flat): the A of bar 1 needs no sign; E natural does, once a bar; the E flat
// after it in the same bar needs its flat back.
TEST(MusicXml, accidentals_are_written_where_the_key_does_not_give_them) {
  TakeMaker maker(120.0);
  maker.bars(2);
  maker.take().key = take::Key{10, false, take::State::confirmed, 1.0};
  maker.note(0, 1, "Bb1").note(1, 1, "E2").note(2, 1, "E2").note(3, 1, "Eb2").note(4, 1, "E2");
  const ReadScore score(maker.done());
  const auto notes = score.find("//note[staff=1][pitch]");
  ASSERT_EQ(notes.size(), 5U);
  const auto sign = [&](std::size_t i) {
    return std::string(notes[i].node().child("accidental").text().get());
  };
  EXPECT_EQ(sign(0), "");
  EXPECT_EQ(sign(1), "natural");
  EXPECT_EQ(sign(2), "");
  EXPECT_EQ(sign(3), "flat");
  EXPECT_EQ(sign(4), "natural");
}

TEST(MusicXml, chords_have_root_kind_and_bass) {
  TakeMaker maker(120.0);
  maker.bars(2).note(0, 8, "D2");
  maker.chord(0, 2, "F#m7b5").chord(2, 4, "D7/F#").chord(4, 6, "N").chord(6, 8, "Ab7sus4");
  const ReadScore score(maker.done());
  EXPECT_EQ(score.text("(//harmony)[1]/root/root-step"), "F");
  EXPECT_EQ(score.text("(//harmony)[1]/root/root-alter"), "1");
  EXPECT_EQ(score.text("(//harmony)[1]/kind"), "half-diminished");
  EXPECT_STREQ(score.find("(//harmony)[1]/kind")[0].node().attribute("text").value(), "m7b5");
  EXPECT_EQ(score.text("(//harmony)[2]/kind"), "dominant");
  EXPECT_EQ(score.text("(//harmony)[2]/bass/bass-step"), "F");
  EXPECT_EQ(score.text("(//harmony)[2]/offset"), "24");  // half way through the whole note
  EXPECT_EQ(score.text("(//harmony)[3]/kind"), "none");
  EXPECT_EQ(score.text("(//harmony)[4]/kind"), "suspended-fourth");
}

TEST(MusicXml, a_pickup_is_an_implicit_bar_and_text_is_escaped) {
  TakeMaker maker(120.0, 3, 4.0);
  maker.take().title = "Salt & <Iron>";
  maker.bars(2, 1).note(-1, 0.9, "A1").note(0, 2.9, "D2");
  const ReadScore score(maker.done());
  EXPECT_EQ(score.count("//measure[@implicit='yes']"), 1U);
  EXPECT_EQ(score.text("//work-title"), "Salt & <Iron>");
  EXPECT_EQ(score.count("//time"), 1U);
}

TEST(MusicXml, a_take_without_beats_says_what_to_do) {
  TakeMaker maker(120.0);
  maker.note(0, 1, "E1");
  const auto text = musicxml_file(maker.done());
  ASSERT_FALSE(text);
  EXPECT_NE(text.error().message.find("no beats"), std::string::npos);
}

TEST(MusicXml, bars_add_up_for_any_line) {
  constexpr unsigned seed = 61;
  std::mt19937 random(seed);
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", line " + std::to_string(i));
    TakeMaker maker(60.0 + 2.0 * i, i % 2 == 0 ? 4 : 3, 6.0);
    maker.bars(5, i % 4);
    std::uniform_real_distribution<double> step(0.05, 2.5);
    for (double beat = -2.0; beat < 16.0;) {
      const double length = step(random);
      maker.note(beat, 0.9 * length, "A1");
      beat += length;
    }
    const take::Take take = maker.done();
    expect_full_measures(ReadScore(take), lay_out(take));
  }
}

// A triplet's eighth lasts 4 of 12, its quarter 8; a dotted half 36 (arithmetic of the divisions).
TEST(RhythmValues, cut_at_beats_and_name_their_signs) {
  SheetBar bar;
  bar.divisions = {Division::thirds, Division::whole, Division::halves, Division::whole};
  bar.beat_samples = {0, 1, 2, 3, 4};
  const auto note = [](int onset, int length) {
    SheetNote written;
    written.onset_tatums = onset;
    written.length_tatums = length;
    return written;
  };
  bar.notes = {note(0, 8), note(8, 4), note(12, 18), note(30, 18)};
  const auto values = written_values(bar);
  ASSERT_EQ(values.size(), 6U);
  EXPECT_EQ(values[0].value, NoteValue::quarter);
  EXPECT_TRUE(values[0].is_triplet && values[0].begins_tuplet && !values[0].ends_tuplet);
  EXPECT_EQ(values[1].value, NoteValue::eighth);
  EXPECT_TRUE(values[1].ends_tuplet);
  EXPECT_EQ(values[2].value, NoteValue::quarter);  // 12 + 6, tied
  EXPECT_TRUE(values[2].is_tied_to_next);
  EXPECT_EQ(values[3].value, NoteValue::eighth);
  EXPECT_TRUE(values[3].is_tied_from_previous);
  EXPECT_EQ(values[4].value, NoteValue::eighth);
  EXPECT_EQ(values[5].value, NoteValue::quarter);
  bar.notes = {note(0, 36)};
  const auto rests = written_values(bar);
  ASSERT_EQ(rests.size(), 2U);
  EXPECT_EQ(rests[0].value, NoteValue::half);
  EXPECT_EQ(rests[0].dot_count, 1);
  EXPECT_FALSE(rests[1].note);
}

}  // namespace
}  // namespace lowstride::sheet
