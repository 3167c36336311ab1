#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include "src/take/edit.hpp"
#include "src/take/take.hpp"

namespace lowstride::take::testing_help {

/// Samples a second of the examples, and of a beat in them: 120 beats a minute.
inline constexpr std::int64_t rate = 48000;
inline constexpr std::int64_t beat_samples = 24000;

/// Eight bars of four beats from 0.5 s on, a note on each beat, a chord on each bar; all proposed.
[[nodiscard]] Take example_take();

/// Random edits, sensible ones and some that must be refused. The seed decides everything.
class EditMaker {
 public:
  explicit EditMaker(std::uint32_t seed) : random_(seed) {}
  [[nodiscard]] Edit make(const Take& take);

 private:
  [[nodiscard]] Edit make_note_edit(const Take& take);
  [[nodiscard]] Edit make_grid_edit(const Take& take);
  [[nodiscard]] Edit make_chord_edit(const Take& take);
  [[nodiscard]] Edit make_other_edit(const Take& take);
  [[nodiscard]] Edit make_analysis(const Take& take);
  [[nodiscard]] std::int64_t number(std::int64_t low, std::int64_t high);
  [[nodiscard]] std::int64_t place(const Take& take) { return number(0, take.length_samples); }
  template <typename Entry>
  [[nodiscard]] auto id_of(const std::vector<Entry>& entries);

  std::mt19937 random_;
};

}  // namespace lowstride::take::testing_help
