#include <fstream>

#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

/// Tables of a line are the one kind of notation that a test can write by hand.
class ReadAndCompare : public CommandTest {
 protected:
  void SetUp() override {
    CommandTest::SetUp();
    put("line.notes.tsv",
        "onset_s\toffset_s\tmidi\n0.5\t0.95\t31\n1.0\t1.45\t35\n1.5\t1.95\t38\n2.0\t2.45\t37\n"
        "2.5\t2.95\t36\n3.0\t3.45\t40\n3.5\t3.95\t43\n4.0\t4.45\t42\n");
    std::string beats = "time_s\tbar\tbeat\n";
    for (int i = 0; i < 8; ++i) {
      beats += std::to_string(0.5 + 0.5 * i) + "\t" + std::to_string(i / 4 + 1) + "\t" +
               std::to_string(i % 4 + 1) + "\n";
    }
    put("line.beats.tsv", beats);
    put("line.chords.lab", "0.5\t2.5\tG:7\n2.5\t4.5\tC:7\n");
  }
  void put(const std::string& name, const std::string& bytes) const {
    std::ofstream(in_folder(name), std::ios::binary) << bytes;
  }
  [[nodiscard]] std::string text_of(const std::string& name) const {
    std::ifstream stream(in_folder(name), std::ios::binary);
    return {(std::istreambuf_iterator<char>(stream)), {}};
  }
};

TEST_F(ReadAndCompare, a_written_line_becomes_a_fingered_take_and_every_sheet) {
  const Outcome outcome = run({"read", in_folder("line.notes.tsv")});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_NE(outcome.out.find("G7"), std::string::npos) << outcome.out;
  EXPECT_NE(outcome.out.find("Notes     8, 8 confirmed"), std::string::npos) << outcome.out;
  for (const std::string format : {"pdf", "svg", "png", "musicxml", "midi"}) {
    const Outcome written = run(
        {"export", in_folder("line.take"), "--format", format, "-o", in_folder("out." + format)});
    EXPECT_EQ(written.exit_code, 0) << format << written.err;
    EXPECT_FALSE(text_of("out." + format).empty()) << format;
  }
  for (const std::string format : {"midi", "musicxml"}) {
    const Outcome again =
        run({"read", in_folder("out." + format), "-o", in_folder(format + ".take")});
    ASSERT_EQ(again.exit_code, 0) << again.err;
    const Outcome compared = run({"compare", in_folder(format + ".take"), in_folder("line.take"),
                                  "--by", "bars", "--scores"});
    EXPECT_EQ(compared.exit_code, 0);
    EXPECT_NE(compared.out.find("8 alike"), std::string::npos) << format << compared.out;
  }
  // MusicXML begins with bar 1, half a second before the tables do: bars are what they share.
  const Outcome written = run({"compare", in_folder("line.take"), in_folder("out.musicxml")});
  EXPECT_NE(written.out.find("No differences."), std::string::npos) << written.out;
  const Outcome bars = run({"export", in_folder("line.take"), "--format", "text", "--bars", "2"});
  EXPECT_EQ(bars.exit_code, 0);
  EXPECT_EQ(bars.out.find("G7"), std::string::npos) << bars.out;
  expect_refused(run({"export", in_folder("line.take"), "--format", "text", "--bars", "2-x"}),
                 "2-x");
  // A take that is there is not written over.
  expect_refused(run({"read", in_folder("line.notes.tsv")}), "line.take");
}

TEST_F(ReadAndCompare, a_count_in_that_a_midi_file_calls_bar_1_does_not_shift_the_line) {
  // Bar 0 is counted in; a Standard MIDI File has no bar numbers (RP-001), so it reads as bar 1.
  std::string beats = "time_s\tbar\tbeat\n";
  for (int i = 0; i < 12; ++i) {
    beats += std::to_string(0.5 + 0.5 * i) + "\t" + std::to_string(i / 4) + "\t" +
             std::to_string(i % 4 + 1) + "\n";
  }
  put("counted.beats.tsv", beats);
  std::string notes = "onset_s\toffset_s\tmidi\n";
  for (int i = 4; i < 12; ++i) {
    notes += std::to_string(0.5 + 0.5 * i) + "\t" + std::to_string(0.95 + 0.5 * i) + "\t" +
             std::to_string(31 + i * i % 11) + "\n";
  }
  put("counted.notes.tsv", notes);
  ASSERT_EQ(run({"read", in_folder("counted.notes.tsv")}).exit_code, 0);
  ASSERT_EQ(run({"export", in_folder("counted.take"), "--format", "midi", "-o", in_folder("c.mid")})
                .exit_code,
            0);
  const Outcome compared = run({"compare", in_folder("counted.take"), in_folder("c.mid")});
  EXPECT_EQ(compared.exit_code, 0);
  EXPECT_NE(compared.out.find("8 alike"), std::string::npos) << compared.out;
  EXPECT_NE(compared.err.find("what it calls bar 5 is bar 4 here"), std::string::npos)
      << compared.err;
}

TEST_F(ReadAndCompare, differences_are_told_and_exit_0) {
  ASSERT_EQ(run({"read", in_folder("line.notes.tsv")}).exit_code, 0);
  ASSERT_EQ(run({"edit", in_folder("line.take"), "--set-note", "b1:2=B2", "--remove", "b2:4",
                 "--set-chord", "b2=Cmaj7"})
                .exit_code,
            0);
  const Outcome told = run({"compare", in_folder("line.take"), in_folder("line.notes.tsv")});
  EXPECT_EQ(told.exit_code, 0) << told.err;
  for (const char* words : {"b1:2", "octave", "b2:4", "missed", "chord", "Cmaj7"}) {
    EXPECT_NE(told.out.find(words), std::string::npos) << words << "\n" << told.out;
  }
  const Outcome same = run({"compare", in_folder("line.take"), in_folder("line.take")});
  EXPECT_EQ(same.exit_code, 0);
  EXPECT_NE(same.out.find("No differences."), std::string::npos) << same.out;
}

TEST_F(ReadAndCompare, bad_files_are_refused_by_name_and_leave_nothing) {
  put("broken.mid", "MThd");
  put("page.musicxml", "<html/>");
  put("letter.xml", "Dear pupil");
  const auto before = names();
  for (const std::string name : {"broken.mid", "page.musicxml", "letter.xml", "nothing.mid"}) {
    expect_refused(run({"read", in_folder(name)}), name.substr(0, name.find('.')));
  }
  expect_refused(run({"compare", in_folder("nothing.take"), in_folder("line.take")}),
                 "nothing.take");
  expect_refused(
      run({"export", in_folder("nothing.take"), "--format", "pdf", "-o", in_folder("x.pdf")}),
      "nothing.take");
  EXPECT_EQ(names(), before);
}

}  // namespace
}  // namespace lowstride::cli_test
