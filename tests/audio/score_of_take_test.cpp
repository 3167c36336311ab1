#include "src/audio/score_of_take.hpp"

#include <gtest/gtest.h>

#include "src/neck/named_necks.hpp"
#include "tests/sheet/arranged_takes.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::audio {
namespace {

TEST(ScoreOfTake, a_line_is_heard_as_it_sounds_with_its_chords_in_comping) {
  take::Take take = sheet::example::walk();
  take.octave_shift = 1;  // of the sheet alone
  const Score score = score_of_take(take);
  ASSERT_EQ(score.notes.size(), take.notes.size());
  EXPECT_EQ(score.notes.front().pitch_midi, 34.0);  // B flat 1
  ASSERT_FALSE(score.chords.empty());
  // B flat seven: third D, seventh A flat, and the fifth F.
  EXPECT_EQ(score.chords.front().pitches_midi, stab_pitches(take.chords.front().chord));
}

TEST(ScoreOfTake, an_arrangement_is_heard_as_the_guitar_plays_it) {
  for (const parts::Style style : sheet::example::all_styles) {
    SCOPED_TRACE(parts::style_name(style));
    const take::Take take = sheet::example::arranged(style);
    ASSERT_FALSE(take.stabs.empty());
    const Score score = score_of_take(take);
    ASSERT_EQ(score.chords.size(), take.stabs.size());
    for (std::size_t i = 0; i < take.stabs.size(); ++i) {
      EXPECT_EQ(score.chords[i].begin_samples, take.stabs[i].onset_samples);
      EXPECT_EQ(score.chords[i].end_samples, take.stabs[i].offset_samples);
      std::vector<int> pitches;
      for (const neck::Position& place : take.stabs[i].positions) {
        pitches.push_back(neck::sounding_midi(take.neck, place.string_number, place.fret));
      }
      EXPECT_EQ(score.chords[i].pitches_midi, pitches);
    }
    // And the line on its strings: G1 cannot be played there, G2 is.
    ASSERT_EQ(score.notes.size(), take.notes.size());
    for (std::size_t i = 0; i < take.notes.size(); ++i) {
      ASSERT_TRUE(take.notes[i].position);
      EXPECT_EQ(score.notes[i].pitch_midi,
                neck::sounding_midi(take.neck, take.notes[i].position->string_number,
                                    take.notes[i].position->fret));
    }
  }
}

}  // namespace
}  // namespace lowstride::audio
