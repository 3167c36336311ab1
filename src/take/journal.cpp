#include "src/take/journal.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <stop_token>
#include <system_error>
#include <thread>
#include <utility>

#include "src/take/json_archive.hpp"
#include "src/take/take_files.hpp"
#include "src/take/take_json.hpp"

namespace lowstride::take::detail {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

constexpr const char* journal_format = "lowstride-journal";
constexpr int journal_version = 1;
/// Half of the second that a power cut may cost, so that a slow disk has the other half.
constexpr auto sync_delay = 500ms;

tl::unexpected<Error> cannot_write(const fs::path& path, int error_number) {
  const bool is_full = error_number == ENOSPC || error_number == EDQUOT || error_number == EFBIG;
  return fail(ErrorCode::cannot_write,
              fmt::format("Cannot write '{}': {}; {}.", path.string(),
                          std::generic_category().message(error_number),
                          is_full ? "free some space"
                                  : "choose a folder that you may write to, or save a copy there"));
}

std::string edit_check(std::size_t step, std::string_view edit_text) {
  return text_hash(fmt::format("{}:{}", step, edit_text));
}

std::string header_line(std::string_view base) {
  return fmt::format("{{\"format\": \"{}\", \"version\": {}, \"base\": \"{}\"}}\n", journal_format,
                     journal_version, base);
}

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
  const auto edit_json = json->find("edit");
  if (edit_json == json->end()) return false;
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

}  // namespace

std::string text_hash(std::string_view bytes) {
  std::uint64_t hash = 0xcbf29ce484222325ULL;
  for (const char c : bytes) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 0x100000001b3ULL;
  }
  return fmt::format("{:016x}", hash);
}

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
  std::string base;
  std::size_t size = 0;     // of the file; 0 = not even a header
  std::size_t steps = 0;    // edits in the file
  std::size_t unsaved = 0;  // of those, the ones that no saved take holds
  std::mutex mutex;         // guards what follows
  std::condition_variable_any wake;
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
      if (is_same_file(file, path)) ::unlink(path.c_str());
    } else if (is_dirty) {
      static_cast<void>(sync_file(std::exchange(is_name_dirty, false)));
    }
    ::close(file);
  }

  /// 0, or what went wrong.
  [[nodiscard]] int sync_file(bool with_name) const {
    if (::fdatasync(file) != 0) return errno;
    if (with_name) sync_folder_of(path);
    return 0;
  }

  void run(const std::stop_token& stop) {
    std::unique_lock lock(mutex);
    while (!stop.stop_requested()) {
      wake.wait(lock, stop, [&] { return is_dirty; });
      if (stop.stop_requested()) return;
      wake.wait_for(lock, stop, sync_delay, [] { return false; });
      is_dirty = false;
      const bool with_name = std::exchange(is_name_dirty, false);
      lock.unlock();
      const int error_number = sync_file(with_name);
      lock.lock();
      if (error_number != 0) sync_error = error_number;
    }
  }

  Result<void> write_line(std::string_view line) {
    std::string bytes;
    if (size == 0) bytes = header_line(base);
    bytes += line;
    std::size_t done = 0;
    while (done < bytes.size()) {
      const ssize_t count =
          ::pwrite(file, bytes.data() + done, bytes.size() - done, static_cast<off_t>(size + done));
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) {
        const int error_number = errno;
        // Half a line would hide those after it.
        static_cast<void>(::ftruncate(file, static_cast<off_t>(size)));
        return cannot_write(path, error_number);
      }
      done += static_cast<std::size_t>(count);
    }
    const std::scoped_lock lock(mutex);
    is_name_dirty = is_name_dirty || size == 0;
    is_dirty = true;
    size += bytes.size();
    if (!syncer.joinable())
      syncer = std::jthread([this](const std::stop_token& stop) { run(stop); });
    wake.notify_all();
    return {};
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
    const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (file < 0) return cannot_write(path, errno);
    if (::flock(file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      ::close(file);
      return fail(ErrorCode::conflict,
                  fmt::format("'{}' is open in another window or program; close it there first.",
                              take_path.string()));
    }
    // Some network file systems have no locks; there a second writer is found when saving.
    if (!is_same_file(file, path)) {
      ::close(file);
      continue;
    }
    inside->file = file;
    auto bytes = read_all(file, path);
    if (!bytes) {
      inside->unsaved = 1;  // what cannot be read is not removed
      return tl::unexpected(std::move(bytes.error()));
    }
    inside->opened_bytes = std::move(*bytes);
    inside->size = inside->opened_bytes.size();
    // Until somebody has looked at what is in the file, it is not removed.
    inside->unsaved = inside->size > 0 ? 1 : 0;
    return Journal(std::move(inside));
  }
  return fail(ErrorCode::conflict,
              fmt::format("'{}' is being opened and closed by another program; try again.",
                          take_path.string()));
}

const std::string& Journal::opened_bytes() const noexcept { return inside_->opened_bytes; }

Result<void> Journal::go_on(const JournalContents& contents) {
  inside_->base = contents.base;
  inside_->steps = contents.edits.size();
  inside_->unsaved = contents.edits.size();
  if (contents.good_bytes < inside_->size) {
    if (::ftruncate(inside_->file, static_cast<off_t>(contents.good_bytes)) != 0) {
      return cannot_write(inside_->path, errno);
    }
    inside_->size = contents.good_bytes;
  }
  return {};
}

void Journal::restart(std::string base) {
  inside_->unsaved = 0;
  // Should the file refuse to be emptied, its `saved` line says that these edits are done with.
  if (inside_->size > 0 && ::ftruncate(inside_->file, 0) != 0) return;
  inside_->base = std::move(base);
  inside_->size = 0;
  inside_->steps = 0;
}

Result<void> Journal::append(const Edit& edit) {
  {
    // Said once: the next edit tries the medium again.
    const std::scoped_lock lock(inside_->mutex);
    const int error_number = std::exchange(inside_->sync_error, 0);
    if (error_number != 0) return cannot_write(inside_->path, error_number);
  }
  const std::string edit_text = edit_to_json(edit);
  const std::size_t step = inside_->steps + 1;
  auto outcome =
      inside_->write_line(fmt::format("{{\"step\": {}, \"check\": \"{}\", \"edit\": {}}}\n", step,
                                      edit_check(step, edit_text), edit_text));
  if (!outcome) return outcome;
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
  const std::scoped_lock lock(inside_->mutex);
  inside_->is_dirty = false;
  int error_number = std::exchange(inside_->sync_error, 0);
  if (error_number == 0) {
    error_number = inside_->sync_file(std::exchange(inside_->is_name_dirty, false));
  }
  if (error_number != 0) return cannot_write(inside_->path, error_number);
  return {};
}

std::size_t Journal::edit_count() const noexcept { return inside_->unsaved; }

}  // namespace lowstride::take::detail
