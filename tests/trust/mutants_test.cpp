// Saved takes with bytes changed, cut, doubled and lost at random. The quick tier tries some;
// LOWSTRIDE_MUTANTS asks for more (the long tier: 10,000).
#include <algorithm>
#include <cstdlib>
#include <map>
#include <random>
#include <string>

#include <gtest/gtest.h>

#include "src/take/storage.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;
using testing_help::example_take;

int mutant_count() {
  const char* asked = std::getenv("LOWSTRIDE_MUTANTS");
  return asked == nullptr ? 500 : std::max(1, std::atoi(asked));
}

class Mutants : public testing_help::FolderTest {
 protected:
  std::size_t draw(std::size_t below) {
    return std::uniform_int_distribution<std::size_t>(0, below - 1)(random_);
  }
  /// One to four changes.
  std::string mutant(std::string bytes) {
    const std::size_t changes = 1 + draw(4);
    for (std::size_t i = 0; i < changes && !bytes.empty(); ++i) {
      const std::size_t at = draw(bytes.size());
      switch (draw(7)) {
        case 0:
          bytes[at] = static_cast<char>(bytes[at] ^ (1 << draw(8)));
          break;
        case 1:
          bytes[at] = static_cast<char>(draw(256));
          break;
        case 2:
          bytes.resize(at);
          break;
        case 3:
          bytes.erase(at, 1 + draw(200));
          break;
        case 4:
          bytes.insert(at, bytes.substr(draw(bytes.size()), 1 + draw(300)));
          break;
        case 5:
          // A sector that was never written.
          bytes.replace(at, 512, std::min<std::size_t>(512, bytes.size() - at), '\0');
          break;
        default:
          bytes.insert(at, std::string("-1e999,{[\"\\u0000") + static_cast<char>(draw(256)));
      }
    }
    return bytes;
  }

  std::mt19937 random_{20261125};
};

// Which of the three files are damaged is drawn. Whatever comes of it: no crash, no file replaced
// by looking at it, and a take that was repaired says so.
TEST_F(Mutants, each_opens_is_repaired_with_a_message_or_is_refused) {
  const fs::path path = folder_ / "line.take";
  const fs::path journal_path = folder_ / "line.take.journal";
  const fs::path backup_path = folder_ / "line.take.bak";
  {
    auto file = TakeFile::create(path, example_take());
    ASSERT_TRUE(file);
    ASSERT_TRUE(file->apply(SetTitle{"Saved"}));
    ASSERT_TRUE(file->save());
    for (int n = 1; n <= 8; ++n) ASSERT_TRUE(file->apply(SetTitle{std::to_string(n)}));
  }
  const std::string good_take = bytes_of(path);
  const std::string good_journal = bytes_of(journal_path);
  const std::string good_backup = bytes_of(backup_path);
  const Take whole = load_take(path)->take;
  std::map<std::string, int> outcomes;
  for (int i = 0; i < mutant_count(); ++i) {
    SCOPED_TRACE(testing::Message() << "mutant " << i);
    for (const auto& name : names()) fs::remove(folder_ / name);
    const std::size_t which = 1 + draw(7);
    const std::string take_bytes = (which & 1U) != 0 ? mutant(good_take) : good_take;
    const std::string journal_bytes = (which & 2U) != 0 ? mutant(good_journal) : good_journal;
    const std::string backup_bytes = (which & 4U) != 0 ? mutant(good_backup) : good_backup;
    write_bytes(path, take_bytes);
    write_bytes(journal_path, journal_bytes);
    write_bytes(backup_path, backup_bytes);
    const auto read = load_take(path);
    ASSERT_EQ(bytes_of(journal_path), journal_bytes) << "a reader wrote";
    const auto file = TakeFile::open(path);
    ASSERT_EQ(read.has_value(), file.has_value());
    ASSERT_EQ(bytes_of(path), take_bytes);
    ASSERT_EQ(bytes_of(backup_path), backup_bytes);
    if (!file) {
      ++outcomes["refused"];
      ASSERT_FALSE(file.error().message.empty());
      ASSERT_EQ(bytes_of(journal_path), journal_bytes);
      continue;
    }
    ASSERT_TRUE(check_take(file->take()));
    ASSERT_EQ(file->take(), read->take);
    if (file->take() == whole) {
      ++outcomes["opened whole"];
      continue;
    }
    // Something is missing or other than it was.
    ASSERT_FALSE(file->messages().empty());
    const bool from_backup = std::ranges::any_of(file->messages(), [](const std::string& text) {
      return text.find("line.take.bak") != std::string::npos;
    });
    ++outcomes[from_backup ? "from the version before" : "opened"];
    const bool is_kept = std::ranges::any_of(names(), [&](const std::string& name) {
      return bytes_of(folder_ / name) == journal_bytes;
    });
    // Kept whole under another name, or but for lines that hold no edit and a last one cut off.
    const std::string now = bytes_of(journal_path);
    const std::size_t end = journal_bytes.rfind('\n') + 1;  // 0 without a whole line
    const bool is_cut_only =
        journal_bytes.starts_with(now) &&
        (end <= now.size() ||
         journal_bytes.substr(now.size(), end - now.size()).find("\"step\"") == std::string::npos);
    ASSERT_TRUE(is_kept || is_cut_only);
  }
  for (const char* outcome : {"refused", "opened whole", "from the version before", "opened"}) {
    EXPECT_GT(outcomes[outcome], mutant_count() / 100) << outcome;
  }
}

}  // namespace
}  // namespace lowstride::take
