#include "dsp/harmony/rootless.hpp"

#include <gtest/gtest.h>

namespace lowstride::dsp {
namespace {

using enum ChordQuality;

constexpr int g = 7;
constexpr int b = 11;
constexpr int d = 2;

/// Four bars of four beats, all heard as `heard`, over a bass that plays `bass` in each.
struct Heard {
  ChordPath path;
  std::vector<ChordBeat> beats;
};
Heard heard_over(std::size_t heard, const std::vector<int>& bass, int first_beat = 1) {
  Heard result;
  for (std::size_t i = 0; i < bass.size(); ++i) {
    result.path.columns.push_back(heard);
    result.beats.push_back({(first_beat - 1 + static_cast<int>(i)) % 4 + 1, bass[i], std::nullopt});
  }
  result.path.posterior = Table(bass.size(), chord_column_count);
  for (std::size_t i = 0; i < bass.size(); ++i) result.path.posterior.row(i)[heard] = 1.0F;
  return result;
}

// The rootless left-hand voicings of a dominant: third, thirteenth, seventh and ninth, or third,
// fifth, seventh and ninth; B E F A and B D F A over G (common practice; Levine, The Jazz Piano
// Book, 1989, chapter on left-hand voicings, from memory).
TEST(RootlessDominants, sound_like_a_minor_sixth_or_a_half_diminished_chord) {
  const auto g7 = chord_column(g, dominant_seventh);
  EXPECT_EQ(dominant_without_root(chord_column(d, minor_sixth)), g7);
  EXPECT_EQ(dominant_without_root(chord_column(b, half_diminished_seventh)), g7);
  EXPECT_FALSE(dominant_without_root(g7));
  EXPECT_FALSE(dominant_without_root(no_chord_column));
}

TEST(RootlessDominants, are_read_where_the_bass_plays_the_root) {
  auto heard = heard_over(chord_column(d, minor_sixth), {g, b, d, 1});
  read_rootless_dominants(heard.path, heard.beats);
  const auto g7 = chord_column(g, dominant_seventh);
  EXPECT_EQ(heard.path.columns, std::vector<std::size_t>(4, g7));
  EXPECT_FLOAT_EQ(heard.path.posterior.row(2)[g7], 1.0F);
}

TEST(RootlessDominants, are_not_read_where_the_bass_plays_the_chord_that_is_heard) {
  for (const std::vector<int>& bass : {std::vector<int>{d, 5, 9, b}, {d, d, d, d}}) {
    auto heard = heard_over(chord_column(d, minor_sixth), bass);
    const auto before = heard.path.columns;
    read_rootless_dominants(heard.path, heard.beats);
    EXPECT_EQ(heard.path.columns, before);
  }
}

TEST(RootlessDominants, begin_with_the_bass_when_the_stab_comes_after_the_beat) {
  auto heard = heard_over(chord_column(d, minor_sixth), {g, b, d, 1});
  heard.path.columns[0] = chord_column(0, major_seventh);  // rings on from the bar before
  read_rootless_dominants(heard.path, heard.beats);
  EXPECT_EQ(heard.path.columns, std::vector<std::size_t>(4, chord_column(g, dominant_seventh)));
}

TEST(RootlessDominants, leave_confirmed_beats_alone) {
  auto heard = heard_over(chord_column(d, minor_sixth), {g, b, d, 1});
  heard.beats[0].fixed_column = chord_column(d, minor_sixth);
  const auto before = heard.path.columns;
  read_rootless_dominants(heard.path, heard.beats);
  EXPECT_EQ(heard.path.columns, before);
}

}  // namespace
}  // namespace lowstride::dsp
