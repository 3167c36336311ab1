#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

/// A place where something new begins.
struct Onset {
  Place cut = 0;            // input place just before the rise: the new sound starts here
  Place rise = 0;           // input place of the rise, which the time map places
  std::uint32_t bands = 0;  // bit i: band i changes
  bool is_placed = false;   // `stretched` is known
  Place stretched = 0;      // where `cut` is heard
};

/// The newest onsets in order of time. Fixed size: the oldest are forgotten, long after use.
class OnsetList {
 public:
  static constexpr std::size_t capacity = 512;

  void clear() noexcept { count_ = 0; }
  void append(const Onset& onset) noexcept { at(count_++) = onset; }

  /// Onsets so far; the index of an onset never changes.
  [[nodiscard]] std::size_t size() const noexcept { return count_; }
  [[nodiscard]] std::size_t oldest() const noexcept {
    return count_ > capacity ? count_ - capacity : 0;
  }
  [[nodiscard]] Onset& at(std::size_t index) noexcept { return onsets_[index % capacity]; }
  [[nodiscard]] const Onset& at(std::size_t index) const noexcept {
    return onsets_[index % capacity];
  }

  /// The first onset of a band that cuts after `place` and before `limit`, or null.
  [[nodiscard]] const Onset* next(unsigned band, Place place, double limit) const noexcept {
    // Looked for from the newest: few are ever ahead of the sound.
    const Onset* found = nullptr;
    for (std::size_t index = count_; index-- > oldest();) {
      const Onset& onset = at(index);
      if (onset.cut <= place) break;
      if (static_cast<double>(onset.cut) < limit && (onset.bands >> band & 1U) != 0) {
        found = &onset;
      }
    }
    return found;
  }

 private:
  std::array<Onset, capacity> onsets_{};
  std::size_t count_ = 0;
};

}  // namespace lowstride::dsp::stretch
