#include <array>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::theory {
namespace {

// The tones of every chord on the roots that charts use, in the order of ChordQuality. Source: the
// library tonal 6.0.0 of the npm registry (MIT), Chord.get("Eb" + symbol).notes.
constexpr std::array<const char*, 12> spelled_chords{
    "C E G, C Eb G, C E G Bb, C E G B, C Eb G Bb, C Eb G B, C Eb Gb Bb, C Eb Gb Bbb, C E G A, C Eb "
    "G A, C F G, C F G Bb, C E G#, C Eb Gb",
    "Db F Ab, Db Fb Ab, Db F Ab Cb, Db F Ab C, Db Fb Ab Cb, Db Fb Ab C, Db Fb Abb Cb, Db Fb Abb "
    "Cbb, Db F Ab Bb, Db Fb Ab Bb, Db Gb Ab, Db Gb Ab Cb, Db F A, Db Fb Abb",
    "D F# A, D F A, D F# A C, D F# A C#, D F A C, D F A C#, D F Ab C, D F Ab Cb, D F# A B, D F A "
    "B, D G A, D G A C, D F# A#, D F Ab",
    "Eb G Bb, Eb Gb Bb, Eb G Bb Db, Eb G Bb D, Eb Gb Bb Db, Eb Gb Bb D, Eb Gb Bbb Db, Eb Gb Bbb "
    "Dbb, Eb G Bb C, Eb Gb Bb C, Eb Ab Bb, Eb Ab Bb Db, Eb G B, Eb Gb Bbb",
    "E G# B, E G B, E G# B D, E G# B D#, E G B D, E G B D#, E G Bb D, E G Bb Db, E G# B C#, E G B "
    "C#, E A B, E A B D, E G# B#, E G Bb",
    "F A C, F Ab C, F A C Eb, F A C E, F Ab C Eb, F Ab C E, F Ab Cb Eb, F Ab Cb Ebb, F A C D, F Ab "
    "C D, F Bb C, F Bb C Eb, F A C#, F Ab Cb",
    "F# A# C#, F# A C#, F# A# C# E, F# A# C# E#, F# A C# E, F# A C# E#, F# A C E, F# A C Eb, F# A# "
    "C# D#, F# A C# D#, F# B C#, F# B C# E, F# A# C##, F# A C",
    "G B D, G Bb D, G B D F, G B D F#, G Bb D F, G Bb D F#, G Bb Db F, G Bb Db Fb, G B D E, G Bb D "
    "E, G C D, G C D F, G B D#, G Bb Db",
    "Ab C Eb, Ab Cb Eb, Ab C Eb Gb, Ab C Eb G, Ab Cb Eb Gb, Ab Cb Eb G, Ab Cb Ebb Gb, Ab Cb Ebb "
    "Gbb, Ab C Eb F, Ab Cb Eb F, Ab Db Eb, Ab Db Eb Gb, Ab C E, Ab Cb Ebb",
    "A C# E, A C E, A C# E G, A C# E G#, A C E G, A C E G#, A C Eb G, A C Eb Gb, A C# E F#, A C E "
    "F#, A D E, A D E G, A C# E#, A C Eb",
    "Bb D F, Bb Db F, Bb D F Ab, Bb D F A, Bb Db F Ab, Bb Db F A, Bb Db Fb Ab, Bb Db Fb Abb, Bb D "
    "F G, Bb Db F G, Bb Eb F, Bb Eb F Ab, Bb D F#, Bb Db Fb",
    "B D# F#, B D F#, B D# F# A, B D# F# A#, B D F# A, B D F# A#, B D F A, B D F Ab, B D# F# G#, B "
    "D F# G#, B E F#, B E F# A, B D# F##, B D F"};

// Each tone of a chord stands on its own letter; where that takes a double accidental, charts write
// the plain name and the reference does not (common practice).
TEST(ChordSpelling, is_that_of_an_independent_library) {
  int compared = 0;
  for (const char* row : spelled_chords) {
    std::istringstream chords(row);
    std::string chord_text;
    for (std::size_t quality = 0; std::getline(chords, chord_text, ','); ++quality) {
      std::istringstream names(chord_text);
      dsp::ChordReading chord;
      for (std::string name; names >> name;) {
        std::string_view rest = name;
        const auto expected = take_pitch_name(rest);
        ASSERT_TRUE(expected) << name;
        const int pc = pitch_class(*expected);
        if (!chord.root_pc) {
          chord = {pc, static_cast<dsp::ChordQuality>(quality), pc};
          EXPECT_EQ(to_text(spell_chord_root(pc)), name);
        }
        if (expected->alteration > 1 || expected->alteration < -1) continue;
        EXPECT_EQ(to_text(spell_over_chord(pc, chord)), name) << chart_label(chord);
        EXPECT_NE((chord_pitch_classes(chord) >> static_cast<unsigned>(pc)) & 1U, 0U);
        ++compared;
      }
    }
  }
  EXPECT_GT(compared, 550);
}

}  // namespace
}  // namespace lowstride::theory
