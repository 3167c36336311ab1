#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>

#include <nlohmann/json.hpp>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

/// A lifted line of one note a beat with four chords, in line.take.
class FingerAndArrange : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    std::vector<Pluck> line;
    const std::vector<int> midi{31, 35, 38, 40, 36, 40, 43, 40, 31, 35, 38, 36, 38, 42, 45, 42};
    for (std::size_t i = 0; i < midi.size(); ++i) {
      line.push_back({0.5 + 0.5 * static_cast<double>(i), 0.45, midi[i]});
    }
    write_wav(in_folder("line.wav"), plucked_line(line, 9.0));
    const Outcome lifted = run(
        {"lift", in_folder("line.wav"), "--tempo", "120", "--first-bar", "0.5", "--voice", "bass"});
    ASSERT_EQ(lifted.exit_code, 0) << lifted.err;
    const Outcome chords =
        run({"edit", in_folder("line.take"), "--set-chord", "0.5..2.5=G7", "--set-chord",
             "2.5..4.5=C7", "--set-chord", "4.5..6.5=G7", "--set-chord", "6.5..8.5=D7", "--key",
             "G", "--title", "Lantern Street", "--confirm", "all"});
    ASSERT_EQ(chords.exit_code, 0) << chords.err;
  }
  [[nodiscard]] nlohmann::json take_of(const std::string& name) const {
    std::ifstream stream(in_folder(name));
    return nlohmann::json::parse(stream);
  }
};

TEST_F(FingerAndArrange, a_position_is_kept_with_the_take_and_by_later_edits) {
  const Outcome fifth = run({"finger", in_folder("line.take"), "--position", "5"});
  ASSERT_EQ(fifth.exit_code, 0) << fifth.err;
  const auto take = take_of("line.take");
  EXPECT_EQ(take.at("fingering").at("position_fret"), 5);
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--set-note", "1.0=Bb1"}).exit_code, 0);
  EXPECT_EQ(take_of("line.take").at("fingering").at("position_fret"), 5);
  const Outcome open = run({"finger", in_folder("line.take"), "--position", "open"});
  ASSERT_EQ(open.exit_code, 0) << open.err;
  int open_strings = 0;
  const auto after = take_of("line.take");
  for (const auto& note : after.at("notes")) {
    open_strings += note.at("position").at("fret") == 0 ? 1 : 0;
  }
  EXPECT_GE(open_strings, 2);
}

TEST_F(FingerAndArrange, pins_stay_and_alternatives_are_listed) {
  const Outcome pinned =
      run({"finger", in_folder("line.take"), "--pin", "2.0=3:7", "--alternatives", "2.0"});
  ASSERT_EQ(pinned.exit_code, 0) << pinned.err;
  EXPECT_NE(pinned.out.find("A string, fret 7"), std::string::npos) << pinned.out;
  EXPECT_NE(pinned.out.find("(pinned)"), std::string::npos);
  EXPECT_NE(pinned.out.find("; "), std::string::npos);
  ASSERT_EQ(run({"finger", in_folder("line.take"), "--unpin", "all"}).exit_code, 0);
  const auto take = take_of("line.take");
  for (const auto& note : take.at("notes")) EXPECT_FALSE(note.contains("pinned"));
  expect_refused(run({"finger", in_folder("line.take"), "--pin", "2.0=1:7"}), "1:7");
  expect_refused(run({"finger", in_folder("line.take"), "--pin", "2.0=7"}), "2.0=7");
}

TEST_F(FingerAndArrange, another_hand_goes_into_another_take) {
  const auto before = take_of("line.take");
  const Outcome guitar = run({"finger", in_folder("line.take"), "--instrument", "guitar-drop-d",
                              "--capo", "2", "--leave-out", "1,2", "-o", in_folder("g.take")});
  ASSERT_EQ(guitar.exit_code, 0) << guitar.err;
  EXPECT_EQ(take_of("line.take"), before);
  const auto take = take_of("g.take");
  EXPECT_EQ(take.at("neck").at("capo"), 2);
  EXPECT_EQ(take.at("octave_shift"), 1);
  for (const auto& note : take.at("notes")) {
    if (note.contains("position")) {
      EXPECT_GT(note.at("position").at("string"), 2);
    }
  }
}

TEST_F(FingerAndArrange, what_no_hand_or_neck_can_do_is_refused) {
  const std::string take = in_folder("line.take");
  expect_refused(run({"finger", take, "--position", "north"}), "north");
  expect_refused(run({"finger", take, "--position", "99"}), "99");
  expect_refused(run({"finger", take, "--max-span-mm", "9"}), "9 mm");
  expect_refused(run({"finger", take, "--leave-out", "1,2,3,4"}), "left out");
  expect_refused(run({"finger", take, "--leave-out", "9"}), "string 9");
  expect_refused(run({"finger", take, "--instrument", "harp"}), "harp");
  expect_refused(run({"finger", take, "--tuning", "E1 H1"}), "H1");
  expect_refused(run({"finger", take, "--level", "3"}), "-o");
  expect_refused(run({"finger", in_folder("none.take")}), "none.take");
}

TEST_F(FingerAndArrange, levels_are_exported_and_kept) {
  std::size_t before = 0;
  for (const char* level : {"1", "3", "6"}) {
    const Outcome tab =
        run({"export", in_folder("line.take"), "--format", "text", "--level", level, "--roles"});
    ASSERT_EQ(tab.exit_code, 0) << tab.err;
    EXPECT_NE(tab.out.find("Lantern Street, level " + std::string(level)), std::string::npos)
        << tab.out;
    EXPECT_NE(tab.out.find("root"), std::string::npos) << tab.out;
    ASSERT_EQ(run({"finger", in_folder("line.take"), "--level", level, "-o",
                   in_folder(std::string("level") + level + ".take")})
                  .exit_code,
              0);
    const auto take = take_of(std::string("level") + level + ".take");
    EXPECT_FALSE(take.contains("recording"));
    EXPECT_GT(take.at("notes").size(), before) << "each of these has more notes than the last";
    before = take.at("notes").size();
  }
  expect_refused(run({"export", in_folder("line.take"), "--format", "text", "--level", "7"}),
                 "level 7");
}

TEST_F(FingerAndArrange, one_guitar_plays_bass_and_chords) {
  for (const char* style : {"strum", "root-fifth", "boogie", "walking", "motif"}) {
    const std::string name = std::string(style) + ".take";
    const Outcome outcome =
        run({"arrange", in_folder("line.take"), "--style", style, "-o", in_folder(name)});
    ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
    EXPECT_NE(outcome.err.find("octave"), std::string::npos) << outcome.err;
    const auto take = take_of(name);
    EXPECT_GE(take.at("stabs").size(), 4U);
    EXPECT_EQ(take.at("neck").at("name"), "guitar");
  }
  const Outcome printed = run({"arrange", in_folder("line.take")});
  EXPECT_EQ(printed.exit_code, 0);
  EXPECT_NE(printed.out.find("not saved"), std::string::npos);
  expect_refused(run({"arrange", in_folder("line.take"), "--style", "polka"}), "polka");
  expect_refused(run({"arrange", in_folder("none.take")}), "none.take");
}

TEST_F(FingerAndArrange, levels_are_written_one_by_one_or_several_at_once) {
  const std::string take = in_folder("line.take");
  const Outcome two = run({"export", take, "--format", "text", "--level", "1,3"});
  ASSERT_EQ(two.exit_code, 0) << two.err;
  EXPECT_NE(two.out.find("level 1: roots"), std::string::npos) << two.out;
  EXPECT_NE(two.out.find("level 3: root and fifth"), std::string::npos);
  EXPECT_EQ(two.out.find("level 2"), std::string::npos);
  const Outcome pages =
      run({"export", take, "--format", "svg", "--level", "all", "-o", in_folder("lesson.svg")});
  ASSERT_EQ(pages.exit_code, 0) << pages.err;
  EXPECT_TRUE(std::filesystem::exists(in_folder("lesson-6.svg")));
  for (const char* levels : {"7", "1,", "low", "1;2"}) {
    EXPECT_EQ(run({"export", take, "--format", "text", "--level", levels}).exit_code, 1) << levels;
  }
  const Outcome midi =
      run({"export", take, "--format", "midi", "--level", "1,2", "-o", in_folder("both.mid")});
  EXPECT_EQ(midi.exit_code, 1);
  EXPECT_NE(midi.err.find("one level"), std::string::npos) << midi.err;
}

TEST_F(FingerAndArrange, a_part_is_written_in_every_format) {
  const std::string take = in_folder("line.take");
  const Outcome tables =
      run({"export", take, "--format", "tables", "--bars", "2-3", "-o", in_folder("part")});
  ASSERT_EQ(tables.exit_code, 0) << tables.err;
  std::ifstream notes(in_folder("part.notes.tsv"));
  const auto rows = std::count(std::istreambuf_iterator<char>(notes), {}, '\n');
  EXPECT_EQ(rows, 9);  // a header and two bars of four
  for (const char* format : {"midi", "musicxml", "pdf"}) {
    const Outcome part = run({"export", take, "--format", format, "--bars", "2-3", "-o",
                              in_folder(std::string("part.") + format)});
    EXPECT_EQ(part.exit_code, 0) << part.err;
    const Outcome none = run({"export", take, "--format", format, "--bars", "80-90", "-o",
                              in_folder(std::string("none.") + format)});
    EXPECT_EQ(none.exit_code, 1) << format;
    EXPECT_FALSE(std::filesystem::exists(in_folder(std::string("none.") + format)));
  }
  const Outcome back = run({"read", in_folder("part.midi"), "-o", in_folder("part.take")});
  ASSERT_EQ(back.exit_code, 0) << back.err;
  EXPECT_EQ(take_of("part.take").at("notes").size(), 8U);
  // It begins with bar 2, a hair before or after which its first note was played.
  EXPECT_LT(take_of("part.take").at("notes").at(0).at("onset_samples"), 48000 / 20);
}

TEST_F(FingerAndArrange, an_arrangement_is_printed_and_heard) {
  const Outcome arranged =
      run({"arrange", in_folder("line.take"), "--style", "walking", "-o", in_folder("solo.take")});
  ASSERT_EQ(arranged.exit_code, 0) << arranged.err;
  const auto solo = take_of("solo.take");
  ASSERT_FALSE(solo.at("stabs").empty());
  const Outcome slow = run({"slow", in_folder("solo.take"), "--speed", "80%", "--with",
                            "line,chords", "-o", in_folder("solo.wav")});
  EXPECT_EQ(slow.exit_code, 0) << slow.err;
  EXPECT_TRUE(std::filesystem::exists(in_folder("solo.wav")));
  // Another style at the same place is another line, and both are named.
  const Outcome other =
      run({"arrange", in_folder("line.take"), "--style", "strum", "-o", in_folder("solo.take")});
  EXPECT_EQ(other.exit_code, 1);
  EXPECT_NE(other.err.find("walking with shells"), std::string::npos) << other.err;
}

}  // namespace
}  // namespace lowstride::cli_test
