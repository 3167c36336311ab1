#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/drill/item.hpp"

namespace lowstride::drill {

using Items = std::vector<Item>;

/// What is kept of an item that may be asked.
struct BookEntry {
  std::uint64_t key_hash = 0;      // see key_hash_of
  std::int64_t place_samples = 0;  // where its first beat is
  std::uint32_t take_index = 0;    // in the order of `add`
  Kind kind = Kind::find_the_note;
};

/// Tells items apart by 64 bits of their keys: among a million items and a hundred thousand states
/// the chance that any two are taken for one another is under 1e-8. FNV-1a (Fowler, Noll and Vo,
/// IETF draft-eastlake-fnv).
[[nodiscard]] std::uint64_t key_hash_of(std::string_view key) noexcept;

/// The items of many takes in little memory. A folder of takes yields a million items, and a
/// session asks a few dozen: of each only an entry is kept (24 bytes), and the item itself is made
/// again from its take when its turn comes. The items of the takes used last stay as they are, so
/// that a session on a few takes reads nothing twice.
class ItemBook {
 public:
  /// Makes the items of the take at an index again.
  using Source = std::function<Result<Items>(std::size_t take_index)>;

  /// Of a single take, with nothing to be read again.
  ItemBook(Items items = {});
  explicit ItemBook(Source source, std::size_t most_kept_items = 10'000);

  /// The items of the next take, or those of them that may be asked.
  void add(Items items);

  [[nodiscard]] const std::vector<BookEntry>& entries() const noexcept { return entries_; }

  /// The item of an entry; nothing where its take has no such item any more. Errors: the source's.
  [[nodiscard]] Result<std::optional<Item>> item(std::size_t index);

 private:
  struct Kept {
    std::size_t take_index = 0;
    Items items;
  };
  void keep(Kept kept);

  Source source_;
  std::size_t most_kept_items_;
  std::size_t take_count_ = 0;
  std::vector<BookEntry> entries_;
  std::deque<Kept> kept_;  // the one used last in front
  std::size_t kept_items_ = 0;
};

}  // namespace lowstride::drill
