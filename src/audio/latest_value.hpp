#pragma once

#include <array>
#include <atomic>
#include <type_traits>

namespace lowstride::audio {

/// Hands the newest of a series of values from one thread to one other, both without waiting: what
/// was set before the last is never seen. Three slots and one atomic exchange; `T` is copied.
template <typename T>
class LatestValue {
  static_assert(std::is_trivially_copyable_v<T>);

 public:
  explicit LatestValue(const T& first = T{}) noexcept : slots_{first, first, first} {}

  /// Writing thread only.
  void set(const T& value) noexcept {
    slots_[back_] = value;
    back_ = shared_.exchange(back_ | fresh, std::memory_order_acq_rel) & index_mask;
  }

  /// Reading thread only: the newest value, which stays valid until the next call.
  [[nodiscard]] const T& newest() noexcept {
    if ((shared_.load(std::memory_order_relaxed) & fresh) != 0) {
      front_ = shared_.exchange(front_, std::memory_order_acq_rel) & index_mask;
    }
    return slots_[front_];
  }

 private:
  static constexpr unsigned fresh = 4;
  static constexpr unsigned index_mask = 3;
  static_assert(std::atomic<unsigned>::is_always_lock_free);

  std::array<T, 3> slots_;
  std::atomic<unsigned> shared_{1};
  unsigned back_ = 0;   // the writer's
  unsigned front_ = 2;  // the reader's
};

}  // namespace lowstride::audio
