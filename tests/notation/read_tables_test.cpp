#include <gtest/gtest.h>

#include "src/notation/read.hpp"
#include "src/sheet/export.hpp"
#include "src/take/validate.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::notation {
namespace {

class ReadTables : public take::testing_help::FolderTest {
 protected:
  void put(const std::string& name, const std::string& text) const {
    write_bytes(folder_ / name, text);
  }
  void expect_refused(const std::string& name, const std::string& says) const {
    const auto read = read_tables(folder_ / name);
    ASSERT_FALSE(read) << name;
    EXPECT_NE(read.error().message.find(says), std::string::npos) << read.error().message;
  }
};

TEST_F(ReadTables, exported_tables_come_back_equal) {
  const take::Take walk = sheet::example::walk();
  ASSERT_TRUE(sheet::export_tables(walk, folder_ / "walk"));
  for (const char* name : {"walk", "walk.notes.tsv", "walk.beats.tsv", ""}) {
    SCOPED_TRACE(name);
    const auto read = read_tables(folder_ / name);
    ASSERT_TRUE(read) << read.error().message;
    EXPECT_TRUE(take::check_take(read->take));
    EXPECT_TRUE(read->remarks.empty());
  }
  const auto read = read_tables(folder_ / "walk");
  const sheet::Tables before = sheet::tables(walk);
  const sheet::Tables after = sheet::tables(read->take);
  EXPECT_EQ(after.notes_tsv, before.notes_tsv);
  EXPECT_EQ(after.beats_tsv, before.beats_tsv);
  EXPECT_EQ(after.tuning_txt, before.tuning_txt);
}

TEST_F(ReadTables, lines_that_make_no_sense_are_named) {
  put("a.notes.tsv", "onset_s\toffset_s\tmidi\n0.5\t1.0\t40\n1.0\tlate\t41\n");
  expect_refused("a", "line 3");
  put("b.notes.tsv", "time\tpitch\n1\t2\n");
  expect_refused("b", "onset_s");
  put("c.chords.lab", "0.0 1.0 C\n0.5 2.0 G\n");
  expect_refused("c", "line 2");
  put("d.chords.lab", "0.0 1.0 Hx\n");
  expect_refused("d", "Hx");
  put("e.beats.tsv", "time_s\tbar\tbeat\n1.0\t1\t1\n1.0\t1\t2\n");
  expect_refused("e", "line 3");
  put("f.tuning.txt", "nine\n");
  expect_refused("f", "A4");
  expect_refused("nothing", "There are no tables");
  put("g.notes.tsv", "");
  expect_refused("g", "onset_s");
}

TEST_F(ReadTables, a_line_is_one_note_at_a_time) {
  put("two.notes.tsv",
      "onset_s\toffset_s\tmidi\tstring\tfret\n0.5\t2.0\t40\t2\t2\n0.5\t1.0\t33\t3\t0\n"
      "1.0\t1.5\t35\t3\t2\n");
  const auto read = read_tables(folder_ / "two");
  ASSERT_TRUE(read) << read.error().message;
  ASSERT_EQ(read->take.notes.size(), 2U);
  EXPECT_EQ(read->take.notes[0].midi, 33);
  EXPECT_EQ(read->take.notes[0].offset_samples, 48000);
  EXPECT_EQ(read->take.neck.name, "bass");
  ASSERT_EQ(read->remarks.size(), 1U);
  EXPECT_NE(read->remarks[0].find("1 note"), std::string::npos) << read->remarks[0];
}

}  // namespace
}  // namespace lowstride::notation
