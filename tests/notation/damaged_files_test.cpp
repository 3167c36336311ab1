#include <random>

#include <gtest/gtest.h>

#include "src/notation/read.hpp"
#include "src/sheet/export.hpp"
#include "src/take/validate.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::notation {
namespace {

class DamagedFiles : public take::testing_help::FolderTest {
 protected:
  /// Bytes changed, cut out, put in and cut off at random: each result is a take that holds what
  /// takes promise, or one sentence.
  void expect_survives(const std::string& name, const std::string& whole, unsigned seed) const {
    std::mt19937 random(seed);
    const auto pick = [&random](std::size_t below) {
      return std::uniform_int_distribution<std::size_t>(0, below - 1)(random);
    };
    std::size_t read_count = 0;
    for (int i = 0; i < 400; ++i) {
      SCOPED_TRACE(name + ", seed " + std::to_string(seed) + ", file " + std::to_string(i));
      std::string bytes = whole;
      for (std::size_t change = 0; change <= pick(6); ++change) {
        if (bytes.empty()) bytes = "x";
        const std::size_t at = pick(bytes.size());
        switch (pick(4)) {
          case 0:
            bytes[at] = static_cast<char>(pick(256));
            break;
          case 1:
            bytes.erase(at, pick(20) + 1);
            break;
          case 2:
            bytes.insert(at, std::string(pick(9) + 1, static_cast<char>(pick(256))));
            break;
          default:
            bytes.insert(at, bytes.substr(pick(bytes.size()), pick(200)));
            break;
        }
        if (bytes.empty()) bytes = "x";
        if (pick(30) == 0) bytes.resize(pick(bytes.size()) + 1);
      }
      write_bytes(folder_ / name, bytes);
      const auto read = read_line(folder_ / name);
      if (read) {
        ++read_count;
        const auto checked = take::check_take(read->take);
        ASSERT_TRUE(checked) << checked.error().message;
      } else {
        ASSERT_NE(read.error().message.find(name), std::string::npos) << read.error().message;
        ASSERT_EQ(read.error().message.find('\n'), std::string::npos);
      }
    }
    EXPECT_GT(read_count, 20U) << "hardly anything was read: the changes are too coarse to tell";
  }
};

TEST_F(DamagedFiles, of_midi_give_a_take_or_a_sentence) {
  expect_survives("line.mid", sheet::midi_file(sheet::example::walk()), 1);
}

TEST_F(DamagedFiles, of_musicxml_give_a_take_or_a_sentence) {
  expect_survives("line.musicxml", *sheet::musicxml_file(sheet::example::walk()), 2);
}

TEST_F(DamagedFiles, of_tables_give_a_take_or_a_sentence) {
  expect_survives("line.notes.tsv", sheet::tables(sheet::example::walk()).notes_tsv, 3);
}

}  // namespace
}  // namespace lowstride::notation
