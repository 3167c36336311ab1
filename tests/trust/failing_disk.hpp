#pragma once

#include <fcntl.h>

#include <atomic>
#include <cerrno>
#include <chrono>
#include <string>
#include <string_view>
#include <thread>

#include "src/base/disk.hpp"

namespace lowstride::testing_help {

/// The real disk until a chosen call; that one fails, and those after it as well unless it fails
/// once alone. Calls are counted from 0 over all kinds that change something or bring it to the
/// medium. A write that fails writes half of its bytes first, as a disk that fills up does. Counts
/// from any thread.
class FailingDisk : public Disk {
 public:
  int fails_from = -1;  // number of the call; -1: none
  bool fails_once = false;
  int error_number = ENOSPC;
  bool can_exchange = true;
  bool can_link = true;
  std::chrono::milliseconds sync_time{0};

  [[nodiscard]] int call_count() const { return count_.load(); }

  int open(const char* path, int flags, mode_t mode) override {
    return (flags & O_CREAT) != 0 && fails() ? refuse() : Disk::open(path, flags, mode);
  }
  ssize_t write(int file, const void* bytes, std::size_t count) override {
    if (!fails()) return Disk::write(file, bytes, count);
    static_cast<void>(Disk::write(file, bytes, count / 2));
    return refuse();
  }
  ssize_t write_at(int file, const void* bytes, std::size_t count, off_t offset) override {
    if (!fails()) return Disk::write_at(file, bytes, count, offset);
    static_cast<void>(Disk::write_at(file, bytes, count / 2, offset));
    return refuse();
  }
  int truncate(int file, off_t size) override {
    return fails() ? refuse() : Disk::truncate(file, size);
  }
  int sync(int file) override {
    std::this_thread::sleep_for(sync_time);
    return fails() ? refuse() : Disk::sync(file);
  }
  int rename(const char* from, const char* to) override {
    return fails() ? refuse() : Disk::rename(from, to);
  }
  int exchange(const char* a, const char* b) override {
    if (!can_exchange) return refuse(EINVAL);
    return fails() ? refuse() : Disk::exchange(a, b);
  }
  int link(const char* from, const char* to) override {
    if (!can_link) return refuse(EPERM);
    return fails() ? refuse() : Disk::link(from, to);
  }

 private:
  bool fails() {
    const int number = count_++;
    return fails_from >= 0 && (fails_once ? number == fails_from : number >= fails_from);
  }
  [[nodiscard]] int refuse() const { return refuse(error_number); }
  static int refuse(int number) {
    errno = number;
    return -1;
  }

  std::atomic<int> count_{0};
};

/// One sentence for a person: it names `name`, ends with a cure and a full stop, and holds no
/// second line.
inline bool is_one_clear_sentence(std::string_view message, std::string_view name,
                                  std::string_view cure) {
  return message.find(name) != std::string_view::npos &&
         message.find(cure) != std::string_view::npos && message.ends_with('.') &&
         message.find('\n') == std::string_view::npos;
}

}  // namespace lowstride::testing_help
