#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <system_error>
#include <utility>

#include "src/base/atomic_file.hpp"
#include "src/base/disk.hpp"
#include "src/take/journal.hpp"
#include "src/take/storage.hpp"
#include "src/take/take_files.hpp"
#include "src/take/take_json.hpp"
#include "src/take/validate.hpp"

namespace lowstride::take {
namespace {

namespace fs = std::filesystem;

/// A file as it was when we last looked: another one, or other bytes in it, differ.
struct FileMark {
  dev_t device = 0;
  ino_t inode = 0;
  off_t size = 0;
  timespec changed{};

  bool operator==(const FileMark& other) const {
    return device == other.device && inode == other.inode && size == other.size &&
           changed.tv_sec == other.changed.tv_sec && changed.tv_nsec == other.changed.tv_nsec;
  }
};

std::optional<FileMark> mark_of(const fs::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) return std::nullopt;
  return FileMark{status.st_dev, status.st_ino, status.st_size, status.st_mtim};
}

/// What a folder holds of a take: the saved version, or the one before where that is damaged.
struct SavedTake {
  Take take;
  std::string hash;  // of the bytes it was read from
  std::optional<FileMark> mark;
  bool is_damaged = false;  // NAME.take is, and this is a version before it
  std::vector<std::string> messages;
};

Result<SavedTake> read_saved(const fs::path& path) {
  const auto mark = mark_of(path);
  const auto bytes = read_small_file(path, detail::most_file_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  auto take = take_from_json(*bytes, path.string());
  if (take) return SavedTake{std::move(*take), detail::text_hash(*bytes), mark, false, {}};
  if (take.error().code != ErrorCode::damaged) return tl::unexpected(take.error());
  for (const fs::path& version : detail::version_paths(path)) {
    const auto former_bytes = read_small_file(version, detail::most_file_bytes);
    if (!former_bytes) continue;
    auto former = take_from_json(*former_bytes, version.string());
    if (!former) continue;
    SavedTake saved{std::move(*former), detail::text_hash(*former_bytes), mark, true, {}};
    saved.messages.push_back(
        fmt::format("'{}' is damaged; '{}', a version before it, was opened instead, and what was "
                    "changed between the two is missing.",
                    path.string(), version.string()));
    return saved;
  }
  return tl::unexpected(take.error());
}

/// Which of a journal's edits are to be taken up on a saved take.
enum class JournalFit { nothing, all, after_saved, foreign };

JournalFit fit_of(const detail::JournalContents& journal, const std::string& saved_hash) {
  if (journal.is_empty) return JournalFit::nothing;
  if (journal.base == saved_hash) return JournalFit::all;
  if (journal.saved == saved_hash) return JournalFit::after_saved;
  return journal.edits.empty() && journal.damaged_lines == 0 ? JournalFit::nothing
                                                             : JournalFit::foreign;
}

struct Replay {
  std::size_t taken_up = 0;
  std::size_t refused = 0;
};

Replay replay(const detail::JournalContents& journal, JournalFit fit, Take& take,
              History& history) {
  Replay result;
  if (fit != JournalFit::all && fit != JournalFit::after_saved) return result;
  const std::size_t first = fit == JournalFit::after_saved ? journal.saved_edits : 0;
  for (std::size_t i = first; i < journal.edits.size(); ++i) {
    if (!history.apply(take, journal.edits[i])) {
      result.refused = journal.edits.size() - i;
      break;
    }
    ++result.taken_up;
  }
  return result;
}

std::string edits_text(std::size_t count) {
  return count == 1 ? "1 edit" : fmt::format("{} edits", count);
}

void say_what_was_recovered(const detail::JournalContents& journal, const Replay& result,
                            const fs::path& path, std::vector<std::string>& messages) {
  if (result.taken_up > 0) {
    messages.push_back(fmt::format(
        "{} that had not been saved {} taken up from '{}'{}", edits_text(result.taken_up),
        result.taken_up == 1 ? "was" : "were", path.string(),
        journal.is_closed ? "."
                          : "; if the power failed, the last second of work may be missing."));
  }
  if (journal.is_torn && !journal.is_empty) {
    messages.push_back(
        fmt::format("The last line of '{}' was cut off; one edit may be missing.", path.string()));
  }
}

constexpr std::string_view foreign_text =
    "'{}' holds edits of another version of this take ({}); they were left out and are kept in "
    "'{}'.";
constexpr std::string_view damaged_text =
    "'{}' is damaged, and {} of its lines were left out; it is kept as '{}'.";

}  // namespace

struct TakeFile::Inside {
  fs::path path;
  Take take;
  History history;
  std::vector<std::string> messages;
  std::string saved_hash;
  std::optional<FileMark> mark;  // of NAME.take as we know it
  bool is_damaged = false;       // NAME.take on disk makes no sense
  detail::Journal journal;

  Inside(fs::path take_path, detail::Journal open_journal)
      : path(std::move(take_path)), journal(std::move(open_journal)) {}

  Result<void> take_up_journal();
  Result<void> set_journal_aside(std::string_view ending, std::string_view why, std::size_t count);
  Result<void> check_unchanged() const;
  Result<void> write(const std::string& text, const std::string& hash);
};

Result<void> TakeFile::Inside::set_journal_aside(std::string_view ending, std::string_view why,
                                                 std::size_t count) {
  const fs::path from = detail::journal_path(path);
  const fs::path kept = detail::free_name(from, ending);
  if (auto outcome = write_file_atomically(kept, journal.opened_bytes(), path); !outcome) {
    return outcome;
  }
  messages.push_back(
      ending == "old"
          ? fmt::format(fmt::runtime(why), from.string(), edits_text(count), kept.string())
          : fmt::format(fmt::runtime(why), from.string(), count, kept.string()));
  return {};
}

Result<void> TakeFile::Inside::take_up_journal() {
  const fs::path from = detail::journal_path(path);
  auto contents = detail::read_journal(journal.opened_bytes(), from.string());
  if (!contents) return tl::unexpected(contents.error());
  const JournalFit fit = fit_of(*contents, saved_hash);
  if (fit == JournalFit::foreign) {
    if (auto outcome = set_journal_aside("old", foreign_text, contents->edits.size()); !outcome) {
      return outcome;
    }
    journal.restart(saved_hash);
    return {};
  }
  const Replay result = replay(*contents, fit, take, history);
  say_what_was_recovered(*contents, result, from, messages);
  if (result.taken_up == 0 && journal.was_there()) {
    messages.push_back(fmt::format(
        "'{}' was not closed the last time; its journal held no edit that had not been saved. If "
        "the power failed, the last second of work may be missing.",
        path.string()));
  }
  const std::size_t lost = contents->damaged_lines + result.refused;
  if (lost > 0) {
    if (auto outcome = set_journal_aside("damaged", damaged_text, lost); !outcome) return outcome;
  }
  if (result.taken_up == 0) {
    journal.restart(saved_hash);
    return {};
  }
  if (result.refused == 0) return journal.go_on(*contents);
  // Edits that do not fit are not written over: what was taken up is written anew.
  journal.restart(saved_hash);
  const std::size_t first = fit == JournalFit::after_saved ? contents->saved_edits : 0;
  for (std::size_t i = 0; i < result.taken_up; ++i) {
    if (auto outcome = journal.append(contents->edits[first + i]); !outcome) return outcome;
  }
  return {};
}

Result<void> TakeFile::Inside::check_unchanged() const {
  const auto now = mark_of(path);
  if (!now || now == mark) return {};
  // Touched or copied over with the same bytes is no change.
  const auto bytes = read_small_file(path, detail::most_file_bytes);
  if (bytes && detail::text_hash(*bytes) == saved_hash) return {};
  return fail(ErrorCode::conflict,
              fmt::format("'{}' was changed by something else since it was opened; save a copy "
                          "under another name.",
                          path.string()));
}

Result<void> TakeFile::Inside::write(const std::string& text, const std::string& hash) {
  if (text.size() > detail::most_file_bytes) {
    return fail(
        ErrorCode::unsupported,
        fmt::format("'{}' would be too large to be opened again; split the take.", path.string()));
  }
  // The new version is on the medium before the one before it moves.
  auto file = PendingFile::create(path);
  if (!file) return tl::unexpected(file.error());
  if (auto outcome = file->write(text); !outcome) return outcome;
  if (auto outcome = journal.append_saved(hash); !outcome) return outcome;
  // A damaged file is not kept as the version before: the backup is the good one.
  auto kept = is_damaged ? detail::keep_as(path, detail::free_name(path, "damaged"))
                         : detail::keep_version(path);
  if (!kept) return kept;
  if (auto outcome = file->commit(); !outcome) return outcome;
  journal.restart(hash);
  saved_hash = hash;
  mark = mark_of(path);
  is_damaged = false;
  return {};
}

TakeFile::TakeFile(std::unique_ptr<Inside> inside) noexcept : inside_(std::move(inside)) {}
TakeFile::TakeFile(TakeFile&&) noexcept = default;
TakeFile& TakeFile::operator=(TakeFile&&) noexcept = default;
TakeFile::~TakeFile() = default;

const Take& TakeFile::take() const noexcept { return inside_->take; }
const fs::path& TakeFile::path() const noexcept { return inside_->path; }
const std::vector<std::string>& TakeFile::messages() const noexcept { return inside_->messages; }
const History& TakeFile::history() const noexcept { return inside_->history; }
bool TakeFile::has_unsaved_edits() const noexcept { return inside_->journal.edit_count() > 0; }

Result<TakeFile> TakeFile::open(const fs::path& path) {
  // The lock is a file: a wrong name leaves nothing behind.
  std::error_code error;
  if (!fs::is_regular_file(path, error)) {
    return read_saved(path).and_then([&](const SavedTake&) -> Result<TakeFile> {
      return fail(ErrorCode::unreadable, fmt::format("'{}' is not a plain file.", path.string()));
    });
  }
  auto journal = detail::Journal::open(detail::journal_path(path), path);
  if (!journal) return tl::unexpected(journal.error());
  detail::remove_stale_files(path);
  auto saved = read_saved(path);
  auto inside = std::make_unique<Inside>(path, std::move(*journal));
  if (!saved) return tl::unexpected(saved.error());
  inside->take = std::move(saved->take);
  inside->saved_hash = std::move(saved->hash);
  inside->mark = saved->mark;
  inside->is_damaged = saved->is_damaged;
  inside->messages = std::move(saved->messages);
  if (auto outcome = inside->take_up_journal(); !outcome) return tl::unexpected(outcome.error());
  return TakeFile(std::move(inside));
}

Result<TakeFile> TakeFile::create(const fs::path& path, Take take) {
  if (auto outcome = check_take(take); !outcome) {
    return fail(ErrorCode::invalid_argument, outcome.error().message);
  }
  auto journal = detail::Journal::open(detail::journal_path(path), path);
  if (!journal) return tl::unexpected(journal.error());
  auto inside = std::make_unique<Inside>(path, std::move(*journal));
  std::error_code error;
  if (fs::exists(fs::symlink_status(path, error))) {
    return fail(ErrorCode::conflict,
                fmt::format("'{}' is there already; choose another place with -o.", path.string()));
  }
  detail::remove_stale_files(path);
  const auto contents =
      detail::read_journal(inside->journal.opened_bytes(), detail::journal_path(path).string());
  if (!contents) return tl::unexpected(contents.error());
  if (!contents->edits.empty() || contents->damaged_lines > 0) {
    if (auto outcome = inside->set_journal_aside("old", foreign_text, contents->edits.size());
        !outcome) {
      return tl::unexpected(outcome.error());
    }
  }
  // Versions of a take that is gone are not this one's.
  for (const fs::path& version : detail::version_paths(path)) {
    disk().rename(version.c_str(), detail::free_name(version, "old").c_str());
  }
  inside->journal.restart("");
  inside->take = std::move(take);
  const std::string text = take_to_json(inside->take);
  if (auto outcome = inside->write(text, detail::text_hash(text)); !outcome) {
    return tl::unexpected(outcome.error());
  }
  return TakeFile(std::move(inside));
}

Result<TakeFile> TakeFile::open_or_create(const fs::path& path, Take fresh) {
  std::error_code error;
  if (!fs::exists(fs::symlink_status(path, error))) return create(path, std::move(fresh));
  auto file = open(path);
  if (!file) return file;
  if (auto outcome = detail::check_same_recording(file->take(), fresh, path); !outcome) {
    return tl::unexpected(outcome.error());
  }
  // The recording may have been moved or renamed since.
  if (fresh.recording && file->take().recording != fresh.recording) {
    if (auto outcome = file->apply(SetRecording{*fresh.recording}); !outcome) {
      return tl::unexpected(outcome.error());
    }
  }
  return file;
}

Result<void> TakeFile::apply(const Edit& edit) {
  auto undo = take::apply(inside_->take, edit);
  if (!undo) return tl::unexpected(std::move(undo.error()));
  if (auto outcome = inside_->journal.append(edit); !outcome) {
    static_cast<void>(take::apply(inside_->take, *undo));
    return outcome;
  }
  inside_->history.record(std::move(*undo));
  return {};
}

Result<std::optional<std::string>> TakeFile::undo() {
  const Edit* next = inside_->history.next_undo();
  if (next == nullptr) return std::optional<std::string>();
  if (auto outcome = inside_->journal.append(*next); !outcome) {
    return tl::unexpected(outcome.error());
  }
  return inside_->history.undo(inside_->take);
}

Result<std::optional<std::string>> TakeFile::redo() {
  const Edit* next = inside_->history.next_redo();
  if (next == nullptr) return std::optional<std::string>();
  if (auto outcome = inside_->journal.append(*next); !outcome) {
    return tl::unexpected(outcome.error());
  }
  return inside_->history.redo(inside_->take);
}

Result<void> TakeFile::sync() { return inside_->journal.sync(); }

Result<void> TakeFile::save() {
  if (!has_unsaved_edits() && !inside_->is_damaged && mark_of(inside_->path)) return {};
  if (auto outcome = inside_->check_unchanged(); !outcome) return outcome;
  const std::string text = take_to_json(inside_->take);
  return inside_->write(text, detail::text_hash(text));
}

namespace {

/// The take and its journal as they lie there now.
Result<LoadedTake> read_once(const fs::path& path, std::optional<FileMark>& mark) {
  auto saved = read_saved(path);
  if (!saved) return tl::unexpected(saved.error());
  mark = saved->mark;
  LoadedTake loaded{std::move(saved->take), std::move(saved->messages)};
  const fs::path from = detail::journal_path(path);
  const auto bytes = read_small_file(from, detail::most_file_bytes);
  if (!bytes) {
    if (bytes.error().code != ErrorCode::not_found)
      loaded.messages.push_back(bytes.error().message);
    return loaded;
  }
  const auto contents = detail::read_journal(*bytes, from.string());
  if (!contents) return tl::unexpected(contents.error());
  const JournalFit fit = fit_of(*contents, saved->hash);
  if (fit == JournalFit::foreign) {
    loaded.messages.push_back(fmt::format(
        "'{}' holds edits of another version of this take; they were left out.", from.string()));
    return loaded;
  }
  History history;
  const Replay result = replay(*contents, fit, loaded.take, history);
  say_what_was_recovered(*contents, result, from, loaded.messages);
  if (const std::size_t lost = contents->damaged_lines + result.refused; lost > 0) {
    loaded.messages.push_back(
        fmt::format("'{}' is damaged, and {} of its lines were left out.", from.string(), lost));
  }
  return loaded;
}

}  // namespace

Result<LoadedTake> load_take(const fs::path& path) {
  // Another program may save between our look at the take and our look at its journal.
  constexpr int attempts = 5;
  std::optional<FileMark> mark;
  auto loaded = read_once(path, mark);
  for (int i = 1; i < attempts && loaded && mark_of(path) != mark; ++i) {
    loaded = read_once(path, mark);
  }
  return loaded;
}

}  // namespace lowstride::take
