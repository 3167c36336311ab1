#pragma once

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "dsp/base/evidence.hpp"
#include "gui/model/levels.hpp"
#include "src/base/result.hpp"
#include "src/take/edit.hpp"
#include "src/take/storage.hpp"
#include "src/take/take.hpp"

// What a session does in the background: each a function that runs on a thread of its own, with all
// that it needs handed over.
namespace lowstride::desk {

/// What work in the background tells: the working thread writes, the desk reads without waiting.
class Progress {
 public:
  [[nodiscard]] WorkControl control();
  void cancel() noexcept { is_cancelled_.store(true); }
  [[nodiscard]] bool is_cancelled() const noexcept { return is_cancelled_.load(); }
  [[nodiscard]] double share() const noexcept { return share_.load(); }
  /// The stage as it was when it could last be read without waiting.
  [[nodiscard]] const std::string& stage();

 private:
  std::atomic<bool> is_cancelled_{false};
  std::atomic<double> share_{0.0};
  std::mutex mutex_;
  std::string stage_;       // guarded by mutex_
  std::string last_stage_;  // the desk's copy
};

namespace detail {

/// What opening gives.
struct Opened {
  std::filesystem::path path = {};
  std::filesystem::path recording = {};
  std::optional<take::TakeFile> file = {};
  std::optional<take::Take> read_only = {};
  std::vector<std::string> messages = {};
};

/// The waveform of a recording that is still being opened. One thread fills it in, sets the flag
/// and leaves it alone; the other takes it after that.
struct EarlyWaveform {
  std::unique_ptr<LevelsReader> levels = {};
  std::int64_t sample_count = 0;
  double sample_rate_hz = 0.0;
  std::atomic<bool> is_there{false};
};

/// Where the take lies that is meant by a path: the path itself, or that of a recording's take.
[[nodiscard]] std::filesystem::path take_path_of(const std::filesystem::path& path);

/// Opens a take, or the take of a recording, which is begun if it is not there; `version`, a saved
/// one, changes places with it before. One that somebody else has open or that cannot be written is
/// read alone. Errors: those of take::TakeFile and audio::open_recording.
[[nodiscard]] Result<Opened> open_in_background(const std::filesystem::path& path,
                                                const std::optional<std::filesystem::path>& version,
                                                EarlyWaveform& early, const WorkControl& control);

/// What is to be listened to, and for which state of the take.
struct LiftOrder {
  take::Take take = {};
  std::filesystem::path recording = {};
  std::shared_ptr<const dsp::Evidence> evidence = {};  // null: the recording is listened to
  std::int64_t part_samples = 0;                       // of its beginning; 0 = the whole
  std::uint64_t revision = 0;
};

/// What listening gives.
struct Lifted {
  std::shared_ptr<const dsp::Evidence> evidence = {};
  take::EditGroup edits = {};
  std::uint64_t revision = 0;  // of the take that they are for
  bool is_first_part = false;  // of a long recording; the whole follows
  std::vector<std::string> remarks = {};
};

/// Everything that an analysis proposes, with a neck for a new take and the fingering. Errors:
/// those of analysis::hear; cancelled.
[[nodiscard]] Result<Lifted> lift_in_background(LiftOrder order, const WorkControl& control);

}  // namespace detail

}  // namespace lowstride::desk
