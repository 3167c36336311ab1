#pragma once

#include <atomic>
#include <functional>
#include <string_view>

namespace lowstride {

/// Told by long work now and then, from the working thread: the stage's name in a player's words
/// and the share done of the whole work, 0..1.
using ProgressListener = std::function<void(std::string_view stage, double share)>;

/// How long work reports and is stopped. Copyable; an empty one reports to nobody and never stops.
struct WorkControl {
  ProgressListener on_progress;
  const std::atomic<bool>* cancel = nullptr;  // set by another thread or a signal handler

  void report(std::string_view stage, double share) const {
    if (on_progress) on_progress(stage, share);
  }
  [[nodiscard]] bool is_cancelled() const noexcept {
    return cancel != nullptr && cancel->load(std::memory_order_relaxed);
  }
};

}  // namespace lowstride
