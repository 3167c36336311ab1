#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"
#include "dsp/rhythm/beat_decoder.hpp"

namespace lowstride::dsp {

/// The chords at the beginning and from the middle of a full bar.
struct BarChords {
  int bar = 1;
  ChordReading first_half;
  ChordReading second_half;
};

enum class FormKind {
  twelve_bar_blues,
  minor_blues,
  aaba,   // four sections of one length, the third another
  vamp,   // two chords in turn
  cycle,  // any other stretch of bars that comes round
};

struct FormReading {
  FormKind kind = FormKind::cycle;
  int first_bar = 1;     // where the form first begins
  int length_bars = 12;  // of one chorus
  double confidence = 0.0;
  std::optional<int> tonic_pc;  // of a blues: the root of its first chord

  bool operator==(const FormReading&) const = default;
};

/// Chords by bar, from bar 1 on: what `recognise_form` reads. Bars that the chords do not cover
/// have no chord.
[[nodiscard]] std::vector<BarChords> chords_by_bar(const DecodedGrid& grid,
                                                   std::span<const DecodedChord> chords);

/// The form that explains the bars best, or nothing when none explains them well: a blues of twelve
/// bars (major or minor, with the usual substitutes), AABA of 16 or 32 bars, a vamp on two chords,
/// or a cycle of 4 to 16 bars that comes round at least twice. `bars`: consecutive. Source: the
/// twelve bars and their substitutes and the four sections are common practice (Levine, The Jazz
/// Theory Book, 1995, from memory).
[[nodiscard]] std::optional<FormReading> recognise_form(std::span<const BarChords> bars);

/// What players call it: "twelve-bar blues", "32-bar AABA", "two-chord vamp" …
[[nodiscard]] std::string form_name(const FormReading& form);

}  // namespace lowstride::dsp
