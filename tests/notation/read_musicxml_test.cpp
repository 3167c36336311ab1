#include <random>

#include <gtest/gtest.h>
#include <pugixml.hpp>

#include "src/notation/musicxml_part.hpp"
#include "src/notation/read.hpp"
#include "src/sheet/export.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"
#include "tests/sheet/arranged_takes.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::notation {
namespace {

using sheet::example::TakeMaker;

/// A score of quarters in 4/4, one measure a text: "C3 D3 E3 F3", with whole elements in <>.
std::string score(const std::vector<std::string>& measures, const std::string& head = "") {
  std::string text =
      "<?xml version=\"1.0\"?>" + head +
      "<score-partwise version=\"4.0\"><part-list><score-part "
      "id=\"P1\"><part-name>Bass</part-name></score-part></part-list><part id=\"P1\">";
  bool is_first = true;
  for (const std::string& measure : measures) {
    text += "<measure number=\"1\">";
    if (is_first) {
      text +=
          "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type>"
          "</time><transpose><chromatic>0</chromatic><octave-change>-1</octave-change>"
          "</transpose></attributes>";
    }
    is_first = false;
    std::istringstream words(measure);
    for (std::string word; words >> word;) {
      if (word.starts_with('<')) {
        for (char& letter : word) letter = letter == '_' ? ' ' : letter;
        text += word;
        continue;
      }
      text += "<note><pitch><step>" + word.substr(0, 1) + "</step><octave>" + word.substr(1) +
              "</octave></pitch><duration>4</duration></note>";
    }
    text += "</measure>";
  }
  return text + "</part></score-partwise>";
}

class ReadMusicXml : public take::testing_help::FolderTest {
 protected:
  [[nodiscard]] Result<ReadTake> read(const std::string& text) const {
    write_bytes(folder_ / "line.musicxml", text);
    return read_line(folder_ / "line.musicxml");
  }
  [[nodiscard]] std::vector<int> pitches(const std::string& text) const {
    const auto made = read(text);
    EXPECT_TRUE(made) << made.error().message;
    std::vector<int> all;
    if (!made) return all;
    EXPECT_TRUE(take::check_take(made->take));
    for (const take::Note& note : made->take.notes) all.push_back(note.midi);
    return all;
  }
};

/// Everything about notes that a score says: pitch, length, ties, string, fret; by measure.
std::vector<std::string> notes_of(const std::string& text) {
  pugi::xml_document document;
  EXPECT_TRUE(document.load_string(text.c_str()));
  std::vector<std::string> all;
  for (const auto& measure : document.select_nodes("//measure")) {
    std::string line = measure.node().attribute("number").value();
    for (const pugi::xml_node note : measure.node().children("note")) {
      line += note.child("rest") ? " r" : " n";
      for (const char* path : {"pitch/step", "pitch/alter", "pitch/octave", "duration", "staff",
                               "notations/technical/string", "notations/technical/fret"}) {
        line += std::string(".") + note.select_node(path).node().text().get();
      }
      for (const pugi::xml_node tie : note.children("tie")) line += tie.attribute("type").value();
    }
    all.push_back(line);
  }
  return all;
}

TEST_F(ReadMusicXml, the_example_comes_back_note_for_note) {
  const take::Take walk = sheet::example::walk();
  const std::string there = *sheet::musicxml_file(walk);
  const auto made = read(there);
  ASSERT_TRUE(made) << made.error().message;
  const take::Take& take = made->take;
  EXPECT_TRUE(take::check_take(take));
  EXPECT_EQ(take.title, "Cellar Stairs");
  EXPECT_EQ(take.key->tonic_pc, 10);
  EXPECT_EQ(take.swing_ratio, 2.0);
  EXPECT_EQ(take.neck.name, "bass");
  EXPECT_EQ(take.chords.size(), walk.chords.size());
  EXPECT_EQ(take.chords.back().chord, walk.chords.back().chord);
  ASSERT_EQ(take.notes.size(), walk.notes.size());
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    EXPECT_EQ(take.notes[i].midi, walk.notes[i].midi) << i;
    EXPECT_EQ(take.notes[i].position, walk.notes[i].position) << i;
    EXPECT_EQ(take.notes[i].is_dead, walk.notes[i].is_dead) << i;
  }
  EXPECT_EQ(notes_of(*sheet::musicxml_file(take)), notes_of(there));
}

/// A line on exact places: wholes to sixteenths and triplets, with rests, in any meter.
take::Take written_line(std::mt19937& random, int index) {
  const auto pick = [&random](int least, int most) {
    return std::uniform_int_distribution<int>(least, most)(random);
  };
  const int beats = 2 + index % 5;
  TakeMaker maker(60.0 + 3.0 * index, beats, 4.0);
  const int pickup = index % 3 == 0 ? pick(1, beats - 1) : 0;
  maker.bars(6, pickup);
  const bool is_swung = index % 2 == 0;
  if (is_swung) maker.take().swing_ratio = 1.5 + 0.1 * (index % 16);
  const double late =
      is_swung ? *maker.take().swing_ratio / (1.0 + *maker.take().swing_ratio) : 0.5;
  maker.take().key = take::Key{pick(0, 11), pick(0, 1) == 1, take::State::confirmed, 1.0};
  constexpr const char* names[]{"E1", "G#1", "B1", "C2", "Eb2", "F2", "A2", "Bb2"};
  double at = -static_cast<double>(pickup);
  double end = at;
  // Beat by beat: nothing new, one note, two, three or four.
  for (; at < 6.0 * beats; at += 1.0) {
    std::vector<double> cuts;
    switch (pick(0, 5)) {
      case 0:
        break;
      case 1:
      case 2:
        cuts = {0.0};
        break;
      case 3:
        cuts = {0.0, late};
        break;
      case 4:
        cuts = {0.0, 1.0 / 3.0, 2.0 / 3.0};
        break;
      default:
        cuts = {0.0, 0.25, 0.5, 0.75};
        break;
    }
    for (std::size_t i = 0; i < cuts.size(); ++i) {
      const double next = i + 1 < cuts.size() ? cuts[i + 1] : 1.0;
      const double length = next - cuts[i] + (i + 1 == cuts.size() ? pick(0, 2) : 0);
      if (at + cuts[i] < end - 1e-9 || pick(0, 6) == 0) continue;
      maker.note(at + cuts[i], std::min(length, 6.0 * beats - at - cuts[i]),
                 names[static_cast<std::size_t>(pick(0, 7))]);
      end = at + cuts[i] + length;
    }
  }
  maker.chord(0, beats, "Bb7").chord(beats, 2 * beats, "F#m7b5/C");
  auto& notes = maker.take().notes;
  for (std::size_t i = 0; i + 1 < notes.size(); ++i) {
    notes[i].offset_samples = std::min(notes[i].offset_samples, notes[i + 1].onset_samples);
  }
  return maker.done();
}

// Property: MusicXML to take to MusicXML keeps every pitch, bar position, length, string and fret.
TEST_F(ReadMusicXml, every_note_survives_the_way_there_and_back) {
  constexpr unsigned seed = 9;
  std::mt19937 random(seed);
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", line " + std::to_string(i));
    const auto there = sheet::musicxml_file(written_line(random, i));
    ASSERT_TRUE(there) << there.error().message;
    const auto made = read(*there);
    ASSERT_TRUE(made) << made.error().message;
    ASSERT_TRUE(take::check_take(made->take)) << take::check_take(made->take).error().message;
    const auto back = sheet::musicxml_file(made->take);
    ASSERT_TRUE(back) << back.error().message;
    EXPECT_EQ(notes_of(*back), notes_of(*there));
  }
}

// Property: the guitar part that `arrange` makes comes back with its line and every stab, on the
// same strings and frets, in every style; and again unchanged.
TEST_F(ReadMusicXml, an_arrangement_comes_back_with_its_stabs) {
  for (std::uint32_t seed = 1; seed <= 5; ++seed) {
    for (const parts::Style style : sheet::example::all_styles) {
      SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << parts::style_name(style));
      const take::Take part = sheet::example::random_arrangement(seed, style);
      const auto there = sheet::musicxml_file(part);
      ASSERT_TRUE(there) << there.error().message;
      const auto made = read(*there);
      ASSERT_TRUE(made) << made.error().message;
      ASSERT_TRUE(take::check_take(made->take)) << take::check_take(made->take).error().message;
      ASSERT_EQ(made->take.stabs.size(), part.stabs.size());
      for (std::size_t i = 0; i < part.stabs.size(); ++i) {
        EXPECT_EQ(made->take.stabs[i].positions, part.stabs[i].positions) << i;
      }
      ASSERT_EQ(made->take.notes.size(), part.notes.size());
      const auto back = sheet::musicxml_file(made->take);
      ASSERT_TRUE(back) << back.error().message;
      EXPECT_EQ(notes_of(*back), notes_of(*there));
    }
  }
}

// Written C3 with octave-change -1 sounds C2 = 36 (MIDI note numbers: C4 = 60).
TEST_F(ReadMusicXml, written_pitch_is_transposed) {
  EXPECT_EQ(pitches(score({"C3 D3 E3 F3"})), (std::vector{36, 38, 40, 41}));
}

// Common practice: to the sign and once more; the first ending the first time, the second the
// second.
TEST_F(ReadMusicXml, repeats_and_endings_are_played_out) {
  const std::string forward = "<barline><repeat_direction=\"forward\"/></barline>";
  const std::string backward = "<barline><repeat_direction=\"backward\"/></barline>";
  EXPECT_EQ(pitches(score({"C3 C3 C3 C3", forward + " D3 D3 D3 D3 " + backward, "E3 E3 E3 E3"})),
            (std::vector{36, 36, 36, 36, 38, 38, 38, 38, 38, 38, 38, 38, 40, 40, 40, 40}));
  const std::string first = "<barline><ending_number=\"1\"_type=\"start\"/></barline>";
  const std::string first_end =
      "<barline><ending_number=\"1\"_type=\"stop\"/><repeat_direction="
      "\"backward\"/></barline>";
  const std::string second = "<barline><ending_number=\"2\"_type=\"start\"/></barline>";
  const std::string second_end = "<barline><ending_number=\"2\"_type=\"stop\"/></barline>";
  EXPECT_EQ(pitches(score({"C3 C3 C3 C3", first + " D3 D3 D3 D3 " + first_end,
                           second + " E3 E3 E3 E3 " + second_end, "F3 F3 F3 F3"})),
            (std::vector{36, 36, 36, 36, 38, 38, 38, 38, 36, 36,
                         36, 36, 40, 40, 40, 40, 41, 41, 41, 41}));
}

TEST_F(ReadMusicXml, chords_keys_and_tempo_are_taken_over) {
  const auto made = read(score(
      {"<direction><direction-type><rehearsal>A</rehearsal></direction-type><sound_tempo=\"60\"/>"
       "</direction> <harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root>"
       "<kind>dominant-ninth</kind></harmony> C3 C3 <harmony><root><root-step>F</root-step></root>"
       "<kind>half-diminished</kind><bass><bass-step>E</bass-step></bass></harmony> C3 C3"}));
  ASSERT_TRUE(made) << made.error().message;
  const take::Take& take = made->take;
  ASSERT_EQ(take.chords.size(), 2U);
  EXPECT_EQ(take.chords[0].written, "Bb9");
  EXPECT_EQ(take.chords[1].chord, theory::parse_chord("Fm7b5/E")->chord);
  EXPECT_EQ(take.chords[1].begin_samples, 2 * 48000);
  EXPECT_EQ(take.notes[1].onset_samples, 48000);
  ASSERT_EQ(take.passages.size(), 1U);
  EXPECT_EQ(take.passages[0].name, "A");
}

TEST_F(ReadMusicXml, external_entities_are_never_resolved) {
  write_bytes(folder_ / "secret.txt", "the secret");
  const auto made = read(score({"C3 C3 C3 C3 <direction><direction-type><rehearsal>&file;"
                                "</rehearsal></direction-type></direction>"},
                               "<!DOCTYPE score-partwise [<!ENTITY file SYSTEM \"secret.txt\">]>"));
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_EQ(made->take.notes.size(), 4U);
  ASSERT_EQ(made->remarks.size(), 1U);
  EXPECT_NE(made->remarks[0].find("never resolved"), std::string::npos);
  ASSERT_EQ(made->take.passages.size(), 1U);
  EXPECT_EQ(made->take.passages[0].name.find("secret"), std::string::npos);
}

TEST_F(ReadMusicXml, a_bar_that_does_not_add_up_is_named_and_read) {
  const auto made = read(score({"C3 C3 C3 C3", "D3 D3 D3 D3 D3", "E3 E3 E3 E3"}));
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_EQ(made->take.notes.size(), 13U);
  ASSERT_EQ(made->remarks.size(), 1U);
  EXPECT_NE(made->remarks[0].find("bar 2"), std::string::npos) << made->remarks[0];
  EXPECT_EQ(made->take.beats[9].bar, 3);
}

TEST_F(ReadMusicXml, what_cannot_be_read_says_why) {
  const auto expect = [this](const std::string& text, const std::string& says) {
    const auto made = read(text);
    ASSERT_FALSE(made) << says;
    EXPECT_NE(made.error().message.find(says), std::string::npos) << made.error().message;
    EXPECT_NE(made.error().message.find("line.musicxml"), std::string::npos);
  };
  expect("<score-timewise/>", "score-partwise");
  expect("<html/>", "no MusicXML score");
  expect("<score-partwise/>", "no part");
  expect("<score-partwise><part/></score-partwise>", "no measures");
  expect("PK\x03\x04....", "uncompressed");
  expect("", "not what its name says");
}

}  // namespace
}  // namespace lowstride::notation
