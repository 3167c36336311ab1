#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "src/base/result.hpp"
#include "src/neck/neck.hpp"
#include "src/take/take.hpp"

namespace lowstride::parts {

/// How one guitar plays bass and chords; common practice all.
enum class Style : std::uint8_t {
  strum,       // the root on the one, the chord strummed on the beats after it
  root_fifth,  // root and fifth in turn, a stab on the beat after each
  boogie,      // root, third, fifth, sixth and on; stabs on the off-beats after two and four
  walking,     // the line itself, short shells (third and seventh) with it on two and four
  motif,       // the line itself under chords that are held from each change on
};

/// "walking" for --style; nothing for other words.
[[nodiscard]] std::optional<Style> style_from(std::string_view word) noexcept;
/// "walking with shells": as titles say it.
[[nodiscard]] std::string_view style_name(Style style) noexcept;
/// The words for --style: strum, root-fifth, boogie, walking, motif.
[[nodiscard]] std::vector<std::string> style_words();

struct ArrangeOptions {
  Style style = Style::walking;
  std::optional<neck::Neck> neck = {};   // whose hand; nothing: the take's when it has five strings
                                         // or more and reaches E4, else a guitar
  std::optional<double> tempo_bpm = {};  // a steady tempo; nothing: the take's own beats
};

struct Arrangement {
  take::Take take;                   // without recording; its stabs are the chords
  std::vector<std::string> remarks;  // what was moved or left out, one sentence each
};

/// One guitar for a take's line and chords: a part (see levels.hpp) with the bass on the low
/// strings and stabs on those above it. The way through is the cheapest over all notes at once:
/// each bass note with the stab over it is held by one hand under the rules of
/// neck::chord_shapes (four fingers, barre, span in millimetres), going from hand to hand costs
/// what it costs in a line, and the outer tones of each stab go a short way from those of the stab
/// before (voice leading, common practice). Where a hand cannot hold both, the bass is let go and
/// the stab follows in the same place of the hand; where that cannot be either, the stab is left
/// out and said. A held chord (style motif) keeps its fingers while others play the bass, and ends
/// where that cannot be.
///
/// The line is raised by whole octaves where it lies below the neck (`octave_shift`, which sheets
/// say: below E2 on a guitar), and single notes by their own; stabs sound where they stand. Of six
/// notes at once none is more. Errors: those of level_take; invalid_argument for a neck of fewer
/// than four strings.
[[nodiscard]] Result<Arrangement> arrange(const take::Take& take,
                                          const ArrangeOptions& options = {});

}  // namespace lowstride::parts
