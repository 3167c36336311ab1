#include "src/drill/item_book.hpp"

#include <map>
#include <set>
#include <string>

#include <gmock/gmock.h>

#include "src/drill/session.hpp"
#include "tests/drill/drill_takes.hpp"

namespace lowstride::drill {
namespace {

take::Take take_called(const std::string& title) {
  take::Take take = example::line();
  take.title = title;
  return take;
}

// Test vectors of the reference code (Noll, "FNV hash", test_fnv.c, 64 bits, FNV-1a), from memory:
// "", "a", "foobar".
TEST(ItemBooks, hash_keys_by_the_published_values) {
  EXPECT_EQ(key_hash_of(""), 0xcbf29ce484222325U);
  EXPECT_EQ(key_hash_of("a"), 0xaf63dc4c8601ec8cU);
  EXPECT_EQ(key_hash_of("foobar"), 0x85944171f73967e8U);
}

TEST(ItemBooks, give_back_every_item_as_it_was_made) {
  const std::vector<std::string> titles{"one", "two", "three"};
  const std::size_t in_a_take = items_of(take_called("one")).size();
  int read = 0;
  ItemBook book(
      [&](std::size_t index) -> Result<Items> {
        ++read;
        return items_of(take_called(titles.at(index)));
      },
      in_a_take + in_a_take / 2);
  std::vector<Item> all;
  for (const std::string& title : titles) {
    Items items = items_of(take_called(title));
    all.insert(all.end(), items.begin(), items.end());
    book.add(std::move(items));
  }
  ASSERT_EQ(book.entries().size(), all.size());
  for (std::size_t i = 0; i < all.size(); ++i) {
    EXPECT_EQ(book.entries()[i].kind, all[i].kind);
    EXPECT_EQ(book.entries()[i].place_samples, all[i].beat_samples.front());
    const auto item = book.item(i);
    ASSERT_TRUE(item && *item);
    EXPECT_EQ(**item, all[i]);
  }
  EXPECT_EQ(read, 2) << "the first take was kept, each other is read once while it is used";
}

TEST(ItemBooks, of_one_take_read_nothing_again) {
  const Items items = items_of(example::line());
  ItemBook book(items);
  for (std::size_t i = 0; i < items.size(); ++i) EXPECT_EQ(**book.item(i), items[i]);
}

TEST(ItemBooks, keys_of_a_book_are_told_apart) {
  ItemBook book(items_of(example::line()));
  std::set<std::uint64_t> hashes;
  for (const BookEntry& entry : book.entries()) hashes.insert(entry.key_hash);
  EXPECT_EQ(hashes.size(), book.entries().size());
  static_assert(sizeof(BookEntry) <= 24);
  static_assert(sizeof(Candidate) <= 24);
}

/// A session over two takes of which nothing stays in memory.
class ReadAgain : public testing::Test {
 protected:
  Session session() {
    ItemBook book(
        [this](std::size_t index) -> Result<Items> {
          if (is_gone[index]) return fail(ErrorCode::not_found, "'" + titles[index] + "' is gone.");
          return items_of(takes[index], wanted);
        },
        0);
    for (const take::Take& take : takes) book.add(items_of(take, wanted));
    SessionOptions options;
    options.listen_every = 0;
    return Session(std::move(book), {}, default_weights, options,
                   [this](const Item& item, const AnswerRecord& answer) -> Result<ItemState> {
                     asked.push_back(item.take_key);
                     return after_answer(std::nullopt, item, default_weights, answer.grade,
                                         answer.answered_at);
                   });
  }
  std::vector<std::string> run(Session session) {
    std::vector<std::string> says;
    Turn turn = session.begin({});
    while (session.phase() != Phase::done) {
      says.insert(says.end(), turn.says.begin(), turn.says.end());
      turn = session.phase() == Phase::asking ? session.answer(GiveUp{}, {}) : session.go_on({});
      if (asked.size() == 8) turn = session.stop({});
    }
    return says;
  }

  ItemOptions wanted{{Kind::find_the_note}, {}, 4};
  std::vector<std::string> titles{"one", "two"};
  std::vector<take::Take> takes{take_called("one"), take_called("two")};
  std::vector<bool> is_gone{false, false};
  std::vector<std::string> asked;
};

TEST_F(ReadAgain, both_takes_are_asked) {
  run(session());
  const std::set<std::string> keys(asked.begin(), asked.end());
  EXPECT_EQ(keys.size(), 2U);
}

TEST_F(ReadAgain, a_take_that_went_away_is_said_once_and_the_other_goes_on) {
  Session opened = session();
  is_gone[0] = true;
  const auto says = run(std::move(opened));
  EXPECT_EQ(asked.size(), 8U);
  EXPECT_THAT(asked, testing::Each(take_key_of(takes[1])));
  EXPECT_THAT(says, testing::Contains("'one' is gone.").Times(1));
}

TEST_F(ReadAgain, an_item_that_its_take_no_longer_has_is_passed_over) {
  Session opened = session();
  for (take::Take& take : takes) {
    for (take::Note& note : take.notes) {
      if (note.onset_samples >= take.length_samples / 2) note.state = take::State::proposed;
    }
  }
  run(std::move(opened));
  ASSERT_FALSE(asked.empty());
  for (take::Take& take : takes) take.notes.clear();
  asked.clear();
  Session empty = session();
  EXPECT_EQ(empty.begin({}).phase, Phase::done);
}

}  // namespace
}  // namespace lowstride::drill
