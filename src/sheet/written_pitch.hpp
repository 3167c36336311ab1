#pragma once

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::sheet {

/// Basses and guitars are written an octave above their sound (common practice).
inline constexpr int written_octave_semitones = 12;

/// True for a neck whose line is written in the bass clef: its lowest string is below B1.
[[nodiscard]] bool is_bass_neck(const neck::Neck& neck) noexcept;

/// Accidentals in force: those of the key, then those written in the bar so far (common practice:
/// a sign holds for its line or space until the bar line).
class Accidentals {
 public:
  /// Sharps (> 0) or flats (< 0) of the signature.
  explicit Accidentals(int signature);
  void begin_bar() { written_.clear(); }
  /// The alteration that has to be written before a note, -2..2 (0 = a natural sign), or nothing.
  [[nodiscard]] std::optional<int> needed(theory::PitchName name, int octave);

 private:
  int signature_ = 0;
  std::map<std::pair<int, int>, int> written_;  // (step, octave) to alteration
};

/// The alteration that a signature gives to a step (0 = C .. 6 = B).
[[nodiscard]] int signature_alteration(int signature, int step) noexcept;

/// How a note stands on the staff.
struct WrittenPitch {
  theory::PitchName name;
  int octave = 0;                 // written, an octave above the sound
  std::optional<int> accidental;  // see Accidentals::needed; nothing on a tied piece

  /// Steps above C0: what line or space the note stands on.
  [[nodiscard]] int diatonic() const noexcept { return 7 * octave + name.step; }
  bool operator==(const WrittenPitch&) const = default;
};

struct BarPitches {
  std::vector<WrittenPitch> notes;               // one to each note of the bar
  std::vector<std::vector<WrittenPitch>> stabs;  // of each stab, one to each of its strings
};

/// For every bar: spelled over the chord in force and the key. Where a note and a stab begin
/// together the note's accidentals come first.
[[nodiscard]] std::vector<BarPitches> written_pitches(const take::Take& take,
                                                      const SheetLayout& layout);

}  // namespace lowstride::sheet
