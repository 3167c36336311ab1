#include "src/take/journal.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <stop_token>
#include <system_error>
#include <thread>
#include <utility>

#include "src/base/disk.hpp"
#include "src/take/json_archive.hpp"
#include "src/take/take_files.hpp"
#include "src/take/take_json.hpp"

namespace lowstride::take::detail {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

constexpr const char* journal_format = "lowstride-journal";
constexpr int journal_version = 1;
/// Of the second that a power cut may cost. An edit that comes while a sync runs waits for its end,
/// for this, and for its own sync: the rest of the second is a slow disk's.
constexpr auto sync_delay = 300ms;

constexpr std::uint64_t hash_of_nothing = 0xcbf29ce484222325ULL;

/// The hash of what was hashed before with `bytes` after it.
std::uint64_t hash_on(std::uint64_t hash, std::string_view bytes) {
  for (const char c : bytes) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 0x100000001b3ULL;
  }
  return hash;
}

std::string hash_text(std::uint64_t hash) { return fmt::format("{:016x}", hash); }

std::string edit_check(std::size_t step, std::string_view edit_text) {
  return hash_text(hash_on(hash_on(hash_of_nothing, fmt::format("{}:", step)), edit_text));
}

std::string header_line(std::string_view base) {
  return fmt::format("{{\"format\": \"{}\", \"version\": {}, \"base\": \"{}\"}}\n", journal_format,
                     journal_version, base);
}

constexpr std::string_view closed_line = "{\"closed\": true}\n";

/// Takes in one line; false when it makes no sense.
Result<bool> read_line(std::string_view line, std::string_view name, JournalContents& contents) {
  const auto json = parse_json(line);
  if (!json || !json->is_object()) return false;
  const auto text = [&](const char* field) {
    std::string value;
    const auto found = json->find(field);
    if (found != json->end()) static_cast<void>(from_json(*found, value));
    return value;
  };
  if (contents.is_empty) {
    int version = 0;
    const auto field = json->find("version");
    if (text("format") != journal_format || field == json->end() || !from_json(*field, version)) {
      return false;
    }
    if (version > journal_version) {
      return fail(ErrorCode::unsupported,
                  fmt::format("'{}' was written by a newer Lowstride; open the take with that one. "
                              "Nothing was changed.",
                              name));
    }
    contents.base = text("base");
    contents.is_empty = false;
    return true;
  }
  if (json->contains("saved")) {
    contents.saved = text("saved");
    contents.saved_edits = contents.edits.size();
    return true;
  }
  if (json->contains("closed")) {
    contents.is_closed = true;
    contents.closed_at = contents.good_bytes;
    return true;
  }
  const auto edit_json = json->find("edit");
  if (edit_json == json->end()) return false;
  contents.is_closed = false;
  std::string edit_text;
  append_line(edit_text, *edit_json);
  if (text("check") != edit_check(contents.edits.size() + 1, edit_text)) return false;
  auto edit = edit_from_json(edit_text);
  if (!edit) return false;
  contents.edits.push_back(std::move(*edit));
  return true;
}

Result<std::string> read_all(int file, const fs::path& path) {
  std::string bytes;
  std::vector<char> block(1U << 16U);
  while (true) {
    const ssize_t count =
        ::pread(file, block.data(), block.size(), static_cast<off_t>(bytes.size()));
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) {
      return fail(ErrorCode::unreadable,
                  fmt::format("Cannot read '{}': {}; check the medium it is on.", path.string(),
                              std::generic_category().message(errno)));
    }
    if (count == 0) return bytes;
    bytes.append(block.data(), static_cast<std::size_t>(count));
    if (bytes.size() > most_file_bytes) {
      return fail(ErrorCode::unsupported,
                  fmt::format("'{}' is far too large for a journal; move it away.", path.string()));
    }
  }
}

bool is_same_file(int file, const fs::path& path) {
  struct stat opened {};
  struct stat named {};
  return ::fstat(file, &opened) == 0 && ::stat(path.c_str(), &named) == 0 &&
         opened.st_dev == named.st_dev && opened.st_ino == named.st_ino;
}

/// Who may read a take may read its edits, and nobody else.
mode_t permissions_for(const fs::path& take_path) {
  struct stat take {};
  return ::stat(take_path.c_str(), &take) == 0 ? take.st_mode & 0666U : 0666U;
}

}  // namespace

std::string text_hash(std::string_view bytes) { return hash_text(hash_on(hash_of_nothing, bytes)); }

Result<JournalContents> read_journal(std::string_view bytes, std::string_view name) {
  JournalContents contents;
  while (contents.good_bytes < bytes.size()) {
    const std::string_view rest = bytes.substr(contents.good_bytes);
    const std::size_t end = rest.find('\n');
    if (end == std::string_view::npos) {
      contents.is_torn = true;
      break;
    }
    const auto is_good = read_line(rest.substr(0, end), name, contents);
    if (!is_good) return tl::unexpected(is_good.error());
    if (!*is_good) {
      for (const char c : rest) contents.damaged_lines += c == '\n' ? 1U : 0U;
      break;
    }
    contents.good_bytes += end + 1;
  }
  return contents;
}

struct Journal::Inside {
  fs::path path;
  int file = -1;
  std::string opened_bytes;
  bool was_there = false;
  bool is_changed = false;  // something was written to the file
  std::string base;
  std::size_t steps = 0;    // edits in the file
  std::size_t unsaved = 0;  // of those, the ones that no saved take holds
  std::mutex mutex;         // guards what follows
  std::condition_variable_any wake;
  std::size_t size = 0;         // of the file; 0 = not even a header. Changed by the owner alone
  std::size_t synced_size = 0;  // so much of it is on the medium
  std::string unsynced;         // the rest of it
  bool is_dirty = false;
  bool is_name_dirty = false;  // the folder does not surely know the file yet
  int sync_error = 0;
  std::jthread syncer;

  Inside() = default;
  Inside(const Inside&) = delete;
  Inside& operator=(const Inside&) = delete;
  ~Inside() {
    if (syncer.joinable()) {
      syncer.request_stop();
      wake.notify_all();
      syncer.join();
    }
    if (file < 0) return;
    // The name is given up before the lock, so that nobody locks a file without a name.
    if (unsaved == 0) {
      if (is_same_file(file, path)) disk().unlink(path.c_str());
    } else if (is_changed) {
      std::unique_lock lock(mutex);
      if (is_dirty) sync_file(lock);
      // Without this line whoever opens the take is told that the power may have failed.
      const int error_number =
          write_whole_at(file, closed_line.data(), closed_line.size(), static_cast<off_t>(size));
      // Half of it would look like an edit that was cut off.
      if (error_number != 0) disk().truncate(file, static_cast<off_t>(size));
      disk().sync(file);
    }
    disk().close(file);
  }

  /// Brings the file to the medium, with the lock let go meanwhile; `sync_error` says how it went.
  void sync_file(std::unique_lock<std::mutex>& lock) {
    is_dirty = false;
    const bool with_name = std::exchange(is_name_dirty, false);
    const std::size_t begin = synced_size;
    const std::size_t end = size;
    int error_number = 0;
    // After a failed sync the system may have dropped what it could not write and call it clean:
    // it is written once more.
    if (sync_error != 0) {
      error_number =
          write_whole_at(file, unsynced.data(), unsynced.size(), static_cast<off_t>(begin));
    }
    lock.unlock();
    if (error_number == 0 && disk().sync(file) != 0) error_number = errno;
    if (error_number == 0 && with_name) sync_folder(folder_of(path));
    lock.lock();
    sync_error = error_number;
    if (error_number != 0) {
      is_dirty = true;  // tried again after a while
      is_name_dirty = is_name_dirty || with_name;
    } else if (begin == synced_size && end <= size) {  // not emptied meanwhile
      unsynced.erase(0, end - begin);
      synced_size = end;
    }
  }

  void run(const std::stop_token& stop) {
    std::unique_lock lock(mutex);
    while (!stop.stop_requested()) {
      wake.wait(lock, stop, [&] { return is_dirty; });
      if (stop.stop_requested()) return;
      wake.wait_for(lock, stop, sync_delay, [] { return false; });
      sync_file(lock);
    }
  }

  Result<void> write_line(std::string bytes) {
    if (size == 0) bytes.insert(0, header_line(base));
    if (const int error_number =
            write_whole_at(file, bytes.data(), bytes.size(), static_cast<off_t>(size));
        error_number != 0) {
      // Half a line would hide those after it.
      static_cast<void>(disk().truncate(file, static_cast<off_t>(size)));
      return tl::unexpected(write_error(path, error_number));
    }
    is_changed = true;
    const std::scoped_lock lock(mutex);
    is_name_dirty = is_name_dirty || size == 0;
    is_dirty = true;
    size += bytes.size();
    unsynced += bytes;
    if (!syncer.joinable())
      syncer = std::jthread([this](const std::stop_token& stop) { run(stop); });
    wake.notify_all();
    return {};
  }

  /// Cuts the file off. What was cut is gone from the medium before anything else is written: of
  /// old lines after new ones nobody could make sense. Gives the error number.
  int cut(std::size_t new_size) {
    if (new_size == size) return 0;
    if (disk().truncate(file, static_cast<off_t>(new_size)) != 0) return errno;
    const std::scoped_lock lock(mutex);
    const bool was_synced = disk().sync(file) == 0;
    size = new_size;
    synced_size = std::min(synced_size, size);
    unsynced.resize(std::min(unsynced.size(), size - synced_size));
    if (was_synced) {
      synced_size = size;
      unsynced.clear();
    }
    return 0;
  }
};

Journal::Journal(std::unique_ptr<Inside> inside) noexcept : inside_(std::move(inside)) {}
Journal::Journal(Journal&&) noexcept = default;
Journal& Journal::operator=(Journal&&) noexcept = default;
Journal::~Journal() = default;

Result<Journal> Journal::open(const fs::path& path, const fs::path& take_path) {
  auto inside = std::make_unique<Inside>();
  inside->path = path;
  // Who closes a take removes its journal: a file locked just then has no name any more.
  for (int attempt = 0; attempt < 100; ++attempt) {
    int file = disk().open(path.c_str(), O_RDWR | O_NOFOLLOW, 0);
    const bool was_there = file >= 0;
    if (!was_there && errno == ENOENT) {
      file = disk().open(path.c_str(), O_RDWR | O_CREAT | O_NOFOLLOW, permissions_for(take_path));
    }
    if (file < 0) return tl::unexpected(write_error(path, errno));
    if (::flock(file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      disk().close(file);
      return fail(ErrorCode::conflict,
                  fmt::format("'{}' is open in another window or program; close it there first.",
                              take_path.string()));
    }
    // Some network file systems have no locks; there a second writer is found when saving.
    if (!is_same_file(file, path)) {
      disk().close(file);
      continue;
    }
    inside->file = file;
    inside->was_there = was_there;
    auto bytes = read_all(file, path);
    if (!bytes) {
      inside->unsaved = 1;  // what cannot be read is not removed
      return tl::unexpected(std::move(bytes.error()));
    }
    inside->opened_bytes = std::move(*bytes);
    inside->size = inside->opened_bytes.size();
    inside->synced_size = inside->size;
    // Until somebody has looked at what is in the file, it is not removed.
    inside->unsaved = inside->size > 0 ? 1 : 0;
    return Journal(std::move(inside));
  }
  return fail(ErrorCode::conflict,
              fmt::format("'{}' is being opened and closed by another program; try again.",
                          take_path.string()));
}

const std::string& Journal::opened_bytes() const noexcept { return inside_->opened_bytes; }
bool Journal::was_there() const noexcept { return inside_->was_there; }

Result<void> Journal::go_on(const JournalContents& contents) {
  inside_->base = contents.base;
  inside_->steps = contents.edits.size();
  inside_->unsaved = contents.edits.size();
  // Somebody is at work again: till that ends in order nothing says that it did.
  const std::size_t end = contents.is_closed ? contents.closed_at : contents.good_bytes;
  if (const int error_number = inside_->cut(end); error_number != 0) {
    return tl::unexpected(write_error(inside_->path, error_number));
  }
  inside_->is_changed = inside_->is_changed || contents.is_closed;
  return {};
}

void Journal::restart(std::string base) {
  inside_->unsaved = 0;
  // Should the file refuse to be emptied, its `saved` line says that these edits are done with.
  if (inside_->cut(0) != 0) return;
  inside_->base = std::move(base);
  inside_->steps = 0;
}

Result<void> Journal::append(const Edit& edit) {
  {
    // While the medium refuses what was written before, nothing is added to it.
    std::unique_lock lock(inside_->mutex);
    if (inside_->sync_error != 0) inside_->sync_file(lock);
    if (inside_->sync_error != 0) {
      return tl::unexpected(write_error(inside_->path, inside_->sync_error));
    }
  }
  const std::string edit_text = edit_to_json(edit);
  const std::size_t step = inside_->steps + 1;
  std::string line = fmt::format("{{\"step\": {}, \"check\": \"{}\", \"edit\": ", step,
                                 edit_check(step, edit_text));
  line += edit_text;
  line += "}\n";
  if (auto outcome = inside_->write_line(std::move(line)); !outcome) return outcome;
  ++inside_->steps;
  ++inside_->unsaved;
  return {};
}

Result<void> Journal::append_saved(std::string_view hash) {
  if (inside_->size == 0) return {};
  auto outcome = inside_->write_line(fmt::format("{{\"saved\": \"{}\"}}\n", hash));
  return outcome ? sync() : outcome;
}

Result<void> Journal::sync() {
  std::unique_lock lock(inside_->mutex);
  inside_->sync_file(lock);
  if (inside_->sync_error != 0) {
    return tl::unexpected(write_error(inside_->path, inside_->sync_error));
  }
  return {};
}

std::size_t Journal::edit_count() const noexcept { return inside_->unsaved; }

}  // namespace lowstride::take::detail
