#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/history.hpp"
#include "src/take/take.hpp"

namespace lowstride::take {

// Files of a take: NAME.take (JSON, see take_json.hpp), NAME.take.journal (edits since it was
// saved, one a line), NAME.take.bak (the version before), NAME.take.bak-2 and so on (older ones).
// None is ever left half-written.

/// So many saved versions are kept beside a take; with one more, the one that was saved first goes.
inline constexpr std::size_t most_kept_versions = 10;

/// Where the take of a recording lies: beside it, with its name less the last ending.
[[nodiscard]] std::filesystem::path take_path_for(const std::filesystem::path& recording);

/// A take as a reader sees it, and what there is to say about how it was read: one sentence each.
struct LoadedTake {
  Take take;
  std::vector<std::string> messages;
};

/// Reads a take with the edits in its journal, and writes nothing: for export, list, playing. A
/// damaged NAME.take is answered from NAME.take.bak with a message. Works while another program
/// has the take open. Errors: not_found, unreadable, damaged, unsupported (newer version).
[[nodiscard]] Result<LoadedTake> load_take(const std::filesystem::path& path);

/// Writes a take to a new place, whole or not at all: "save a copy". A file that is there is
/// replaced only if it is a take of the same recording (or, without a recording, of the same
/// title), and is then kept as PATH.bak. Errors: conflict, cannot_write.
[[nodiscard]] Result<void> save_copy(const Take& take, const std::filesystem::path& path);

/// A take opened for work by one program. Movable. Calls from one thread; a thread of its own
/// syncs the journal within a second of each edit.
class TakeFile {
 public:
  /// Opens what is there and takes up the edits in its journal (messages say how many). Errors as
  /// load_take; conflict when another program has it open; cannot_write in a read-only folder.
  [[nodiscard]] static Result<TakeFile> open(const std::filesystem::path& path);

  /// Begins a new file and saves it. Errors: conflict when `path` is there; cannot_write.
  [[nodiscard]] static Result<TakeFile> create(const std::filesystem::path& path, Take take);

  /// The take of `fresh.recording`: opened if it is there, created from `fresh` if not. Errors:
  /// conflict when it belongs to another recording, naming both and asking for another place
  /// (`-o`); those of open and create.
  [[nodiscard]] static Result<TakeFile> open_or_create(const std::filesystem::path& path,
                                                       Take fresh);

  TakeFile(TakeFile&&) noexcept;
  TakeFile& operator=(TakeFile&&) noexcept;
  /// Closes: the journal is synced; it stays if it holds edits, else it is removed.
  ~TakeFile();

  [[nodiscard]] const Take& take() const noexcept;
  [[nodiscard]] const std::filesystem::path& path() const noexcept;
  [[nodiscard]] const std::vector<std::string>& messages() const noexcept;
  [[nodiscard]] const History& history() const noexcept;
  [[nodiscard]] bool has_unsaved_edits() const noexcept;

  /// Applies and writes to the journal; on error (the rules', or cannot_write) nothing happened.
  [[nodiscard]] Result<void> apply(const Edit& edit);
  /// One step back or forth, journalled as well. Gives the step's name, nullopt when there is none.
  [[nodiscard]] Result<std::optional<std::string>> undo();
  [[nodiscard]] Result<std::optional<std::string>> redo();

  /// Waits until every edit so far is on the medium. Errors: cannot_write.
  [[nodiscard]] Result<void> sync();
  /// Writes NAME.take, keeps the versions before, empties the journal. Errors: cannot_write;
  /// conflict when NAME.take was changed by something else since it was opened. The journal still
  /// holds every edit then.
  [[nodiscard]] Result<void> save();

 private:
  struct Inside;
  explicit TakeFile(std::unique_ptr<Inside> inside) noexcept;
  std::unique_ptr<Inside> inside_;
};

/// A version of a take that was saved and replaced.
struct KeptVersion {
  std::filesystem::path path;
  std::int64_t saved_unix_seconds = 0;

  bool operator==(const KeptVersion&) const = default;
};
/// When it was saved, by the clock and calendar of this place: "2026-11-30 14:03:12".
[[nodiscard]] std::string saved_text(const KeptVersion& version);
/// Those of a take that lie beside it, saved last first; reads the folder.
[[nodiscard]] std::vector<KeptVersion> kept_versions(const std::filesystem::path& path);

/// Swaps NAME.take and a version of it: back to that one, and forth again with a second call, since
/// what was the take is now a version under the other's name. Nothing is overwritten. Refused
/// (conflict) while the journal holds edits, another program has the take open, or the version is
/// of another line; not_found when it is not there.
[[nodiscard]] Result<void> swap_with_version(const std::filesystem::path& path,
                                             const std::filesystem::path& version);
/// Where the version before the last save lies: NAME.take.bak.
[[nodiscard]] std::filesystem::path previous_version(const std::filesystem::path& path);

/// Hash of a file's bytes as src/audio computes it for RecordingRef::content_hash.
using ContentHash = std::function<Result<std::string>(const std::filesystem::path&)>;

/// The recording of a take: at its path relative to the take's folder, else beside the take under
/// its file name; it counts only if its bytes have the recorded hash. Nothing outside the take's
/// folder is looked at unless `allow_outside` (a take from a stranger must not make us read files
/// elsewhere). Errors: not_found (the take has none, or it is not there: names it and where it was
/// looked for), conflict (a file of that name is there and is another recording).
[[nodiscard]] Result<std::filesystem::path> find_recording(const Take& take,
                                                           const std::filesystem::path& take_path,
                                                           const ContentHash& content_hash,
                                                           bool allow_outside = true);

/// The sentence that a reader owes whoever opened the take when its recording, as found, lies
/// outside the take's folder: a take from a stranger may name any file. Empty when it lies inside.
[[nodiscard]] std::string outside_note(const std::filesystem::path& recording,
                                       const std::filesystem::path& take_path);

/// How a recording is written in a take at `take_path`: relative to its folder, with '/'.
[[nodiscard]] std::string recording_path_for(const std::filesystem::path& recording,
                                             const std::filesystem::path& take_path);

}  // namespace lowstride::take
