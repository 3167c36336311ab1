#include <unistd.h>

#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "src/base/atomic_file.hpp"
#include "src/sheet/export.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

namespace fs = std::filesystem;

class TablesFiles : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (fs::temp_directory_path() / "lowstride-tables-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder_ = pattern;
  }
  void TearDown() override { fs::remove_all(folder_); }

  fs::path folder_;
};

take::Take three_notes() {
  example::TakeMaker maker(120.0);
  maker.bars(1).note(0, 0.9, "E1").note(1, 0.9, "G1", 0.6).note(2, 0.9, "A#1");
  maker.chord(0, 2, "Em7").chord(2, 4, "A7/C#");
  take::Take take = maker.done();
  take.notes[2].state = take::State::confirmed;
  take.notes[2].confidence = 1.0;
  take.notes[1].position.reset();
  take.a4_hz = 441.5;
  return take;
}

TEST(Tables, columns_and_states_are_those_of_the_contract) {
  const Tables all = tables(three_notes());
  EXPECT_EQ(all.notes_tsv,
            "onset_s\toffset_s\tmidi\tstring\tfret\tfinger\trole\tconfidence\tstate\n"
            "0.500000\t0.950000\t28\t4\t0\t0\troot\t0.950\tproposed\n"
            "1.000000\t1.450000\t31\t-\t-\t-\tthird\t0.600\tdoubt\n"
            "1.500000\t1.950000\t34\t3\t1\t1\tchromatic passing note\t1.000\tconfirmed\n");
  EXPECT_EQ(all.chords_lab,
            "0.000000\t0.500000\tN\n"
            "0.500000\t1.500000\tE:min7\n"
            "1.500000\t2.500000\tA:7/3\n"
            "2.500000\t3.500000\tN\n");
  EXPECT_EQ(all.beats_tsv,
            "time_s\tbar\tbeat\n0.500000\t1\t1\n1.000000\t1\t2\n1.500000\t1\t3\n2.000000\t1\t4\n");
  EXPECT_EQ(all.tuning_txt, "441.500\n");
  // Each role with its reason in words, and the note spelled over its chord.
  EXPECT_EQ(all.roles_tsv.substr(0, all.roles_tsv.find("\n1.5")),
            "time_s\tplace\tnote\tchord\trole\treason\n"
            "0.500000\tb1:1\tE1\tEm7\troot\tthe root of Em7\n"
            "1.000000\tb1:2\tG1\tEm7\tthird\tthe third of Em7");
}

TEST(Tables, describe_the_sound_and_not_the_raised_line) {
  example::TakeMaker maker(120.0);
  maker.take().neck = *neck::find_neck("guitar");
  maker.bars(1).note(0, 0.9, "E1").note(1, 0.9, "G1");
  const take::Take take = maker.done();
  ASSERT_EQ(take.octave_shift, 1);
  EXPECT_NE(tables(take).notes_tsv.find("0.500000\t0.950000\t28\t6\t0\t0\t"), std::string::npos);
}

TEST(Tables, an_empty_take_has_headers_and_no_chord) {
  take::Take take;
  take.length_samples = 96000;
  const Tables all = tables(take);
  EXPECT_EQ(all.notes_tsv.find('\n'), all.notes_tsv.size() - 1);
  EXPECT_EQ(all.chords_lab, "0.000000\t2.000000\tN\n");
  EXPECT_EQ(all.beats_tsv, "time_s\tbar\tbeat\n");
}

TEST_F(TablesFiles, a_stem_and_a_folder_both_name_the_files) {
  take::Take take = three_notes();
  take.recording = take::RecordingRef{"../tapes/cellar.take3.flac", 1, 1, ""};
  ASSERT_TRUE(export_tables(take, folder_ / "mine"));
  for (const char* ending :
       {".notes.tsv", ".chords.lab", ".beats.tsv", ".tuning.txt", ".roles.tsv"}) {
    EXPECT_TRUE(fs::exists(folder_ / ("mine" + std::string(ending)))) << ending;
  }
  ASSERT_TRUE(export_tables(take, folder_));
  const auto notes = read_small_file(folder_ / "cellar.take3.notes.tsv", 1U << 20U);
  ASSERT_TRUE(notes);
  EXPECT_EQ(*notes, tables(take).notes_tsv);
  EXPECT_EQ(std::distance(fs::directory_iterator(folder_), {}), 10);
}

TEST_F(TablesFiles, a_folder_that_is_missing_is_an_error_and_leaves_nothing) {
  const auto outcome = export_tables(three_notes(), folder_ / "nowhere" / "mine");
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().code, ErrorCode::cannot_write);
  EXPECT_NE(outcome.error().message.find("nowhere"), std::string::npos);
  EXPECT_TRUE(fs::is_empty(folder_));
}

}  // namespace
}  // namespace lowstride::sheet
