#include "src/cli/drill_takes.hpp"

#include <algorithm>
#include <memory>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "src/audio/recording.hpp"
#include "src/cli/console.hpp"
#include "src/cli/takes_in.hpp"
#include "src/take/storage.hpp"

namespace lowstride::cli {
namespace {

namespace fs = std::filesystem;

struct Wanted {
  fs::path path;
  bool is_named = false;  // by itself, so that what is wrong with it ends the command
  std::optional<std::string> known_key;  // of the history
};

Result<std::vector<Wanted>> wanted_takes(const DrillOptions& options,
                                         const drill::History& history) {
  std::vector<Wanted> wanted;
  for (const fs::path& path : options.takes) {
    std::error_code error;
    if (!fs::is_directory(path, error)) {
      wanted.push_back({path, true, {}});
      continue;
    }
    auto found = takes_in(path);
    if (!found) return tl::unexpected(found.error());
    if (found->empty()) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' holds no takes; lowstride lift makes one from a recording.",
                              path.string()));
    }
    for (fs::path& one : *found) wanted.push_back({std::move(one), false, {}});
  }
  if (!options.is_due) return wanted;
  const auto known = history.takes();
  if (!known) return tl::unexpected(known.error());
  for (const drill::KnownTake& take : *known) wanted.push_back({take.path, false, take.key});
  return wanted;
}

/// The recording of a take, where it is. One that is missing is said; its drills are played by made
/// tones where they have a line, and else in words.
DrillSource source_of(const take::Take& take, const fs::path& path) {
  DrillSource source{path.filename().string(), {}};
  if (!take.recording) return source;
  const auto found = take::find_recording(
      take, path, [](const auto& sound) { return audio::content_hash_of(sound); });
  if (!found) {
    remark(found.error().message);
    return source;
  }
  source.recording = *found;
  if (const std::string note = take::outside_note(*found, path); !note.empty()) remark(note);
  return source;
}

/// Where a take lies, to be read again.
struct Place {
  fs::path path;
  std::string key;
};

/// Reads takes one by one and keeps what a session needs of each.
class Shelf {
 public:
  Shelf(const DrillOptions& options, const std::vector<drill::ItemState>& states)
      : passage_(options.passage) {
    for (const std::string& word : options.kinds) {
      if (const auto kind = drill::kind_from_word(word)) wanted_items_.kinds.push_back(*kind);
    }
    wanted_items_.passage = options.passage;
    taken_.book = drill::ItemBook(
        [places = places_, wanted = wanted_items_](std::size_t index) -> Result<drill::Items> {
          const Place& place = places->at(index);
          const auto loaded = take::load_take(place.path);
          if (!loaded) return tl::unexpected(loaded.error());
          if (drill::take_key_of(loaded->take) != place.key) {
            return fail(ErrorCode::conflict, other_recording_text(place.path));
          }
          return drill::items_of(loaded->take, wanted);
        });
    // Only what was begun: new items come from a take that is named.
    if (!options.is_due || !options.takes.empty()) return;
    begun_.emplace();
    for (const drill::ItemState& state : states) {
      begun_->insert(state.key);
      begun_takes_.insert(state.take_key);
    }
  }

  Result<void> add(const Wanted& wanted) {
    if (wanted.known_key && keys_.contains(*wanted.known_key)) return {};
    if (wanted.known_key && begun_ && !begun_takes_.contains(*wanted.known_key)) {
      ++taken_.take_count;
      return {};
    }
    auto loaded = take::load_take(wanted.path);
    if (!loaded) {
      if (wanted.is_named) return tl::unexpected(loaded.error());
      remark(fmt::format("'{}' is left out: {}", wanted.path.string(), loaded.error().message));
      return {};
    }
    const take::Take& take = loaded->take;
    const std::string key = drill::take_key_of(take);
    if (wanted.known_key && key != *wanted.known_key) {
      remark(other_recording_text(wanted.path));
      return {};
    }
    for (const std::string& sentence : loaded->messages) remark(sentence);
    if (!keys_.insert(key).second) return {};
    if (wanted.is_named && passage_ &&
        std::ranges::find(take.passages, *passage_, &take::Passage::name) == take.passages.end()) {
      return fail(ErrorCode::not_found,
                  fmt::format("'{}' has no passage '{}'; name one with lowstride edit --passage.",
                              wanted.path.string(), *passage_));
    }
    if (!wanted.known_key) {
      std::error_code error;
      const fs::path whole = fs::absolute(wanted.path, error);
      named_.push_back({key, whole.string(), take.title});
    }
    take_in(take, wanted.path, key);
    return {};
  }

  /// Remembers the takes that were named. What was taken is given away.
  [[nodiscard]] Result<DrillTakes> done(drill::History& history) {
    if (const auto kept = history.remember_takes(named_); !kept) {
      return tl::unexpected(kept.error());
    }
    return std::move(taken_);
  }

 private:
  static std::string other_recording_text(const fs::path& path) {
    return fmt::format("'{}' is left out: it belongs to another recording now.", path.string());
  }

  void take_in(const take::Take& take, const fs::path& path, const std::string& key) {
    drill::Items items = drill::items_of(take, wanted_items_);
    if (begun_) {
      std::erase_if(items, [&](const drill::Item& item) { return !begun_->contains(item.key); });
    }
    ++taken_.take_count;
    if (items.empty()) return;
    places_->push_back({path, key});
    taken_.sources[key] = source_of(take, path);
    taken_.book.add(std::move(items));
  }

  std::optional<std::string> passage_;
  drill::ItemOptions wanted_items_;
  std::optional<std::set<std::string>> begun_;  // keys of items; nothing: all may be asked
  std::set<std::string> begun_takes_;           // keys of the takes that these are from
  std::set<std::string> keys_;                  // of the takes that were seen
  std::shared_ptr<std::vector<Place>> places_ = std::make_shared<std::vector<Place>>();
  std::vector<drill::KnownTake> named_;
  DrillTakes taken_;
};

}  // namespace

Result<DrillTakes> open_drill_takes(const DrillOptions& options, drill::History& history,
                                    const std::vector<drill::ItemState>& states) {
  const auto wanted = wanted_takes(options, history);
  if (!wanted) return tl::unexpected(wanted.error());
  Shelf shelf(options, states);
  ProgressLine progress;
  const WorkControl control = progress.control();
  for (const Wanted& one : *wanted) {
    if (wanted->size() > 1) {
      control.report("reading takes", static_cast<double>(&one - wanted->data()) /
                                          static_cast<double>(wanted->size()));
    }
    if (control.is_cancelled()) {
      return fail(ErrorCode::cancelled, "Stopped while reading the takes.");
    }
    if (auto done = shelf.add(one); !done) return tl::unexpected(done.error());
  }
  return shelf.done(history);
}

}  // namespace lowstride::cli
