#include "src/drill/item_book.hpp"

#include <algorithm>
#include <limits>
#include <utility>

#include "dsp/base/contracts.hpp"

namespace lowstride::drill {

std::uint64_t key_hash_of(std::string_view key) noexcept {
  std::uint64_t hash = 0xcbf29ce484222325U;
  for (const char c : key) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 0x100000001b3U;
  }
  return hash;
}

ItemBook::ItemBook(Items items) : most_kept_items_(std::numeric_limits<std::size_t>::max()) {
  add(std::move(items));
}

ItemBook::ItemBook(Source source, std::size_t most_kept_items)
    : source_(std::move(source)), most_kept_items_(most_kept_items) {
  LOWSTRIDE_EXPECTS(source_ != nullptr);
}

void ItemBook::add(Items items) {
  const std::size_t take_index = take_count_++;
  for (const Item& item : items) {
    entries_.push_back({key_hash_of(item.key), item.beat_samples.front(),
                        static_cast<std::uint32_t>(take_index), item.kind});
  }
  // The first takes are kept and not the last, so that adding many moves nothing about.
  if (kept_items_ + items.size() > most_kept_items_) return;
  keep({take_index, std::move(items)});
}

void ItemBook::keep(Kept kept) {
  kept_items_ += kept.items.size();
  kept_.push_front(std::move(kept));
  while (kept_.size() > 1 && kept_items_ > most_kept_items_) {
    kept_items_ -= kept_.back().items.size();
    kept_.pop_back();
  }
}

Result<std::optional<Item>> ItemBook::item(std::size_t index) {
  LOWSTRIDE_EXPECTS(index < entries_.size());
  const BookEntry& entry = entries_[index];
  const auto found = std::ranges::find(kept_, entry.take_index, &Kept::take_index);
  if (found != kept_.end()) {
    std::rotate(kept_.begin(), found, std::next(found));
  } else {
    auto items = source_(entry.take_index);
    if (!items) return tl::unexpected(std::move(items.error()));
    keep({entry.take_index, std::move(*items)});
  }
  for (const Item& item : kept_.front().items) {
    if (item.kind == entry.kind && key_hash_of(item.key) == entry.key_hash) return item;
  }
  return std::optional<Item>();
}

}  // namespace lowstride::drill
