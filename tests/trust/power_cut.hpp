#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <random>
#include <string>
#include <vector>

#include "src/base/disk.hpp"

namespace lowstride::testing_help {

/// The real disk, which also remembers every change to the files of one folder (without folders in
/// it), so that the folder can be laid out as a power cut after any of them would have left it.
///
/// What is sure to be there after a cut: what a file held when it was last synced, and the names
/// that the folder held when it was last synced. Of what came later anything may be there: of the
/// names a beginning of the changes in their order (as file systems with a log keep them), of a
/// file's changes any of them, the last one torn; where a change is missing below a later one,
/// zeros.
class RecordingDisk : public Disk {
 public:
  using Clock = std::chrono::steady_clock;

  /// What is in `folder` now is taken to be on the medium.
  explicit RecordingDisk(std::filesystem::path folder);

  std::chrono::milliseconds sync_time{0};  // added to each sync: a slow disk

  /// Changes so far.
  [[nodiscard]] std::size_t change_count() const;

  /// Lays out in `place`, an empty folder, what a cut after the first `count` changes leaves; which
  /// of the unsure changes are there is drawn from `random`. Gives whether any was unsure.
  bool lay_out(std::size_t count, const std::filesystem::path& place, std::mt19937& random) const;

  /// Of each write to a file whose name ends so: how long it took until a sync of it had ended.
  /// Of a write that was never synced: the largest duration.
  [[nodiscard]] std::vector<Clock::duration> times_until_synced(const std::string& ending) const;

  int open(const char* path, int flags, mode_t mode) override;
  int close(int file) override;
  ssize_t write(int file, const void* bytes, std::size_t count) override;
  ssize_t write_at(int file, const void* bytes, std::size_t count, off_t offset) override;
  int truncate(int file, off_t size) override;
  int sync(int file) override;
  int rename(const char* from, const char* to) override;
  int exchange(const char* a, const char* b) override;
  int link(const char* from, const char* to) override;
  int unlink(const char* path) override;

 private:
  enum class Kind { name, write, truncate, sync, sync_folder, rename, exchange, unlink };
  struct Change {
    Kind kind = Kind::name;
    int id = -1;  // of the file
    std::string a;
    std::string b;
    std::size_t offset = 0;
    std::string bytes;
    Clock::time_point begun;
    Clock::time_point ended;
  };
  using Names = std::map<std::string, int>;  // of the folder: which file each is

  void add(Change change);
  [[nodiscard]] bool is_here(const std::filesystem::path& path) const;
  static void change_names(const Change& change, Names& names);

  std::filesystem::path folder_;
  mutable std::mutex mutex_;
  std::map<int, std::string> at_first_;  // what files held
  Names names_at_first_;
  Names names_;
  std::map<int, int> open_files_;  // which file a descriptor is
  std::vector<Change> changes_;
  int next_id_ = 0;
};

}  // namespace lowstride::testing_help
