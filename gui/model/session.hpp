#pragma once

#include <cstdint>
#include <filesystem>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "gui/layout/digest.hpp"
#include "gui/model/background.hpp"
#include "gui/model/levels.hpp"
#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/storage.hpp"
#include "src/take/take.hpp"

namespace lowstride::desk {

/// One take at work on the desk: its file and journal, its recording's waveform and evidence, and
/// what goes on in the background. All calls from one thread, none waits for background work.
class Session {
 public:
  /// Of a recording more than four times as long, so much is listened to and shown first.
  explicit Session(double first_part_seconds = 60.0);
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;
  ~Session();

  /// Opens a take (NAME.take) or a recording: whose take is opened if it lies beside it, and begun
  /// and lifted if not. What was open is left as it is on disk, its edits in the journal, once the
  /// new file is known to be one; till then, and where it is none, it stays. Errors come as
  /// `messages`.
  void open(const std::filesystem::path& path);

  /// Takes in what the background has done. Call once a frame. True when the take, its recording or
  /// its evidence is another than before.
  bool poll();

  [[nodiscard]] bool has_take() const noexcept { return file_ || is_read_only_; }
  [[nodiscard]] bool is_read_only() const noexcept { return is_read_only_; }
  [[nodiscard]] const take::Take& take() const noexcept;
  /// How many takes were opened so far: another number, another take or the same one anew.
  [[nodiscard]] std::uint64_t opened_count() const noexcept { return opened_count_; }
  /// Another number for another state of the take.
  [[nodiscard]] std::uint64_t revision() const noexcept { return revision_; }
  /// Of the take as it is now.
  [[nodiscard]] const Digest& digest(double doubt_threshold);
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
  /// Empty while it is not found.
  [[nodiscard]] const std::filesystem::path& recording() const noexcept { return recording_; }
  [[nodiscard]] const std::shared_ptr<const dsp::Evidence>& evidence() const noexcept {
    return evidence_;
  }
  /// Null without a recording. There already while a recording is being opened; `take` then has
  /// its length and nothing else.
  [[nodiscard]] LevelsReader* levels() noexcept { return levels_.get(); }

  /// One step: applied, written to the journal, shown in the next frame; what follows from it joins
  /// the same step some frames later. Errors as take::TakeFile::apply; conflict when read only.
  [[nodiscard]] Result<void> apply(const take::Edit& edit);
  [[nodiscard]] Result<std::optional<std::string>> undo();
  [[nodiscard]] Result<std::optional<std::string>> redo();
  [[nodiscard]] Result<void> save();
  /// The same in the background: no frame waits for the disk. What came of it is told once by
  /// `saved`. An edit that comes meanwhile waits for it.
  void start_saving();
  /// Writes a copy in the background; told by `saved` as well.
  void start_saving_copy(const std::filesystem::path& path);
  struct Saved {
    std::filesystem::path path;
    Result<void> outcome;
  };
  [[nodiscard]] std::optional<Saved> saved();
  [[nodiscard]] const take::History* history() const noexcept;
  [[nodiscard]] bool has_unsaved_edits() const noexcept;
  [[nodiscard]] bool is_saving() const noexcept { return saving_.valid(); }
  /// Edits that were taken up from the journal when the take was opened.
  [[nodiscard]] std::size_t recovered_count() const noexcept { return recovered_count_; }

  /// Back to a version that was kept (take::kept_versions), which changes places with the saved
  /// one: a second call leads back. Errors: conflict while edits are not saved, not_found; those of
  /// swapping come as `messages`.
  [[nodiscard]] Result<void> open_version(const std::filesystem::path& version);
  /// The same with the version before the last save.
  [[nodiscard]] Result<void> open_version_before();

  /// Listens to the recording (again) and merges what is proposed; what is confirmed stays.
  void listen_again();
  void cancel_work();
  /// What goes on: stage and share, for a bar; nothing when all is quiet.
  struct Work {
    std::string stage;
    double share = 0.0;
  };
  [[nodiscard]] std::optional<Work> work();
  /// What follows from the last edit is being worked out.
  [[nodiscard]] bool is_following() const noexcept { return following_.valid(); }
  /// Waits for background work and takes it in: for tests and for closing.
  void wait();

  /// Sentences for the player, oldest first; taking them empties the list.
  [[nodiscard]] std::vector<std::string> take_messages();

 private:
  /// Work whose outcome nobody waits for any more; letting go of it waits for its end.
  struct Unfinished {
    std::future<Result<detail::Opened>> opening;
    std::future<Result<detail::Lifted>> lifting;
    std::future<std::shared_ptr<const dsp::Evidence>> fetching;
    std::future<Result<take::EditGroup>> following;
  };

  void open(const std::filesystem::path& path, std::optional<std::filesystem::path> version);
  [[nodiscard]] bool is_same_take(const std::filesystem::path& path) const;
  void let_go();
  void begin(detail::Opened opened);
  void go_on();
  void take_in_early();
  void start_lift(bool is_first_part = false);
  void start_follow_up();
  void take_in(detail::Lifted lifted);
  void take_in_follow_up(take::EditGroup edits);
  void finish_saving();
  void changed();

  double first_part_seconds_;
  std::filesystem::path path_;
  std::filesystem::path recording_;
  std::optional<take::TakeFile> file_;
  take::Take shown_;  // when read only, or nothing is open
  bool is_read_only_ = false;
  std::uint64_t revision_ = 1;
  std::uint64_t opened_count_ = 0;
  std::size_t recovered_count_ = 0;
  std::optional<Digest> digest_;
  std::uint64_t digest_revision_ = 0;
  double digest_threshold_ = -1.0;
  std::shared_ptr<const dsp::Evidence> evidence_;
  std::unique_ptr<LevelsReader> levels_;
  std::vector<std::string> messages_;

  std::shared_ptr<Progress> progress_;  // of opening or lifting
  std::future<Result<detail::Opened>> opening_;
  std::shared_ptr<detail::EarlyWaveform> early_;  // of what is being opened
  std::future<Result<detail::Lifted>> lifting_;
  std::future<std::shared_ptr<const dsp::Evidence>> fetching_;
  std::future<Result<take::EditGroup>> following_;
  std::future<Saved> saving_;  // works on `file_`, which nothing else changes meanwhile
  std::optional<Saved> saved_;
  bool had_unsaved_edits_ = false;  // when saving began
  // The edit that waits for what follows from it, and the take before the first such edit.
  std::optional<take::Edit> followed_edit_;
  std::shared_ptr<const take::Take> follow_base_;
  std::uint64_t follow_revision_ = 0;  // of the take that `following_` looks at
};

}  // namespace lowstride::desk
