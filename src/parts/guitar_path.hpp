#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "src/neck/fingering.hpp"
#include "src/neck/neck.hpp"
#include "src/parts/voicings.hpp"

// The way of one hand through bass notes and stabs: the search inside `arrange`.
namespace lowstride::parts::detail {

/// A bass note, and what is struck above it before the next one.
struct GuitarEvent {
  neck::LineNote note;                          // as the neck sounds it
  std::optional<dsp::ChordReading> chord = {};  // of the stabs that begin with or after it
  bool is_struck_later = false;  // they begin late enough for the bass to be let go first
  bool begins_hold = false;      // the stab lasts over the events after it that continue the hold
  bool continues_hold = false;
  std::optional<neck::Position> wanted = {};  // where the style has it; any finger
};

/// How an event is played.
struct GuitarGrip {
  std::optional<neck::Position> bass;     // nothing when the neck does not have the note
  std::vector<neck::Position> positions;  // of the stab, or of the chord that is still held
  bool is_bass_let_go = false;            // the stab follows alone
  bool is_held_on = false;                // the chord of the event before goes on
};

/// The cheapest way through all events, see arrange.hpp. One grip an event.
[[nodiscard]] std::vector<GuitarGrip> guitar_path(const neck::Neck& neck,
                                                  const neck::FingeringOptions& options,
                                                  const std::vector<GuitarEvent>& events,
                                                  const StabWish& wish);

}  // namespace lowstride::parts::detail
