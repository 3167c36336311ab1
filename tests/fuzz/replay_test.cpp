#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/fuzz/readers.hpp"

namespace lowstride::fuzz {
namespace {

namespace fs = std::filesystem;

class Replay : public testing::TestWithParam<Reader> {};

// Seeds, and under `found-…` each input that once broke a promise. A broken promise ends the test.
TEST_P(Replay, every_input_of_the_corpus_keeps_its_promises) {
  const fs::path folder = fs::path(LOWSTRIDE_FUZZ_CORPUS) / GetParam().name;
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(folder)) files.push_back(entry.path());
  std::ranges::sort(files);
  int read = 0;
  int refused = 0;
  for (const fs::path& file : files) {
    SCOPED_TRACE(file);
    std::ifstream stream(file, std::ios::binary);
    const std::string bytes{std::istreambuf_iterator<char>(stream), {}};
    ++(GetParam().read(bytes) == Outcome::read ? read : refused);
  }
  EXPECT_GE(read, 1) << "no seed reaches behind the reader";
  EXPECT_GE(refused, 1) << "no seed is refused";
}

INSTANTIATE_TEST_SUITE_P(Corpus, Replay, testing::ValuesIn(readers().begin(), readers().end()),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(ReplayCount, a_decoder_that_ends_without_a_last_word_is_counted) {
  const auto reader = std::ranges::find(readers(), std::string_view("decoder_pipe"), &Reader::name);
  ASSERT_NE(reader, readers().end());
  const long before = child_death_count();
  EXPECT_EQ(reader->read("LSDEC001"), Outcome::refused);
  EXPECT_EQ(child_death_count(), before + 1);
}

}  // namespace
}  // namespace lowstride::fuzz
