#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "src/drill/item.hpp"
#include "src/drill/memory.hpp"

namespace lowstride::drill {

/// Seconds since 1970-01-01 UTC. Due dates are kept in it, so that neither time zones nor daylight
/// saving move them.
using UnixSeconds = std::int64_t;

/// Hearing fades otherwise than facts do: nothing stays away for longer (a setting of this program,
/// not of the formulas).
inline constexpr int longest_interval_days = 60;
/// What was missed comes back in the same session.
inline constexpr UnixSeconds missed_again_seconds = 600;

/// The speeds that an item goes through; it begins at the second.
inline constexpr std::array<double, 6> speed_steps{0.5, 0.6, 0.7, 0.8, 0.9, 1.0};
inline constexpr int first_speed_step = 1;

/// What a history knows of an item.
struct ItemState {
  std::string key;
  std::string take_key;
  Kind kind = Kind::find_the_note;
  Memory memory;
  int speed_step = first_speed_step;  // index into speed_steps
  int held_count = 0;                 // right answers in a row at this speed
  UnixSeconds answered_at = 0;
  UnixSeconds due_at = 0;
  int answer_count = 0;
  int missed_count = 0;

  bool operator==(const ItemState&) const = default;
};

/// Whole days from one moment to another, rounded to the nearest: yesterday evening's answer is a
/// day old this evening. 0 when the clock went backwards.
[[nodiscard]] int whole_days(UnixSeconds from, UnixSeconds to) noexcept;

/// The state after an answer. `before` is nothing for the first answer to an item; its key, take
/// and kind are those given. Two right answers in a row at a speed make the item come back a step
/// faster, a missed one a step slower.
[[nodiscard]] ItemState after_answer(const std::optional<ItemState>& before, const Item& item,
                                     const Weights& weights, Grade grade, UnixSeconds now);

/// Half a day ahead of its date an item may be asked. One whose date lies further off than any
/// interval reaches was written while the clock was wrong, and is due.
[[nodiscard]] bool is_due(const ItemState& state, UnixSeconds now) noexcept;

/// What may be asked next. Small, since a folder of takes has a million of them; the state is
/// another's and must live as long.
struct Candidate {
  Kind kind = Kind::find_the_note;
  bool is_gone = false;  // can no longer be asked
  std::uint32_t take_index = 0;
  std::int64_t place_samples = 0;    // where it begins, to keep neighbours apart
  const ItemState* state = nullptr;  // nothing: never asked
};

/// What was asked in this session, latest last: indices of candidates.
struct ChoiceContext {
  UnixSeconds now = 0;
  std::vector<std::size_t> asked;
  int new_count = 0;       // of `asked`, how many were new
  int most_new = 12;       // a session begins at most this many new items
  std::uint32_t seed = 1;  // decides among equals
};

/// The next item: of those due the one likeliest forgotten, a new one in every third place while
/// there are some to begin, and new ones when nothing is due. Kinds and takes are interleaved –
/// neighbours of one kind or take, and places just heard, are put off – because mixed practice is
/// kept better than blocks, though it feels harder (Wong et al., Psychology of Music, 2020; Pavlik
/// et al., EDM, 2013). What was missed in this session comes back after three others. Nothing when
/// there is nothing due or new. Linear in the number of candidates.
[[nodiscard]] std::optional<std::size_t> choose_next(std::span<const Candidate> candidates,
                                                     const Weights& weights,
                                                     const ChoiceContext& context);

}  // namespace lowstride::drill
