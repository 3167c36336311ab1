#include "dsp/harmony/chord_decoder.hpp"

#include <chrono>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/harmony/evidence_of_chords.hpp"

namespace lowstride::dsp {
namespace {

using enum ChordQuality;

// I-vi-ii-V in C, each a bar: the turnaround of any handbook.
const std::vector<ChartChord> turnaround{
    {0, major_seventh}, {9, minor_seventh}, {2, minor_seventh}, {7, dominant_seventh},
    {0, major_seventh}, {9, minor_seventh}, {2, minor_seventh}, {7, dominant_seventh}};

TEST(ChordDecoder, reads_a_turnaround_bar_by_bar) {
  const auto harmony = decode_harmony(evidence_of(turnaround), grid_of(32), {}, {});
  ASSERT_EQ(harmony.chords.size(), 8U);
  for (std::size_t i = 0; i < 8; ++i) {
    const auto& chord = harmony.chords[i];
    EXPECT_NEAR(chord.begin_seconds, 2.0 * static_cast<double>(i), 1e-9);
    EXPECT_EQ(chord.chord.root_pc, turnaround[i].root_pc);
    EXPECT_EQ(chord.chord.quality, turnaround[i].quality);
    EXPECT_EQ(chord.chord.bass_pc, *turnaround[i].root_pc);
    EXPECT_NEAR(chord.confidence, 0.65, 0.03);  // what the evidence gives it, and a little more
    if (i > 0) {
      EXPECT_EQ(chord.begin_seconds, harmony.chords[i - 1].end_seconds);
    }
  }
  ASSERT_TRUE(harmony.key);
  EXPECT_EQ(harmony.key->tonic_pc, 0);
  EXPECT_FALSE(harmony.key->is_minor);
}

TEST(ChordDecoder, hears_minor_where_a_minor_line_goes_home) {
  const std::vector<ChartChord> chart{
      {9, minor_sixth},   {11, half_diminished_seventh}, {4, dominant_seventh}, {9, minor_sixth},
      {2, minor_seventh}, {4, dominant_seventh},         {9, minor_sixth},      {9, minor_sixth}};
  const auto harmony = decode_harmony(evidence_of(chart), grid_of(32), {}, {});
  ASSERT_TRUE(harmony.key);
  EXPECT_EQ(harmony.key->tonic_pc, 9);
  EXPECT_TRUE(harmony.key->is_minor);
}

TEST(ChordDecoder, hears_a_blues_in_the_key_of_its_first_chord) {
  // Dominant sevenths on I, IV and V: by the notes alone it would be the key a fourth higher.
  std::vector<ChartChord> chart;
  for (int chorus = 0; chorus < 2; ++chorus) {
    for (const int root : {10, 3, 10, 10, 3, 3, 10, 10, 5, 3, 10, 5}) {
      chart.push_back({root, dominant_seventh});
    }
  }
  const auto harmony = decode_harmony(evidence_of(chart), grid_of(96), {}, {});
  ASSERT_TRUE(harmony.key);
  EXPECT_EQ(harmony.key->tonic_pc, 10);
  EXPECT_FALSE(harmony.key->is_minor);
}

TEST(ChordDecoder, marks_where_the_key_changes_and_nothing_else) {
  // Twelve bars of ii-V-I in C, then the same in E flat: up a minor third for the last chorus.
  std::vector<ChartChord> chart;
  for (const int key : {0, 3}) {
    for (int i = 0; i < 4; ++i) {
      chart.push_back({(key + 2) % 12, minor_seventh});
      chart.push_back({(key + 7) % 12, dominant_seventh});
      chart.push_back({key, major_seventh});
    }
  }
  const auto harmony = decode_harmony(evidence_of(chart), grid_of(96), {}, {});
  ASSERT_EQ(harmony.key_spans.size(), 2U);
  EXPECT_EQ(harmony.key_spans[0].key.tonic_pc, 0);
  EXPECT_EQ(harmony.key_spans[1].key.tonic_pc, 3);
  EXPECT_NEAR(harmony.key_spans[1].begin_seconds, 24.0, 2.1);
  EXPECT_EQ(decode_harmony(evidence_of(turnaround), grid_of(32), {}, {}).key_spans.size(), 1U);
}

TEST(ChordDecoder, does_not_change_for_one_stray_beat) {
  auto sheet = sheet_of(turnaround, 0.3F);
  for (const std::size_t row : {7U, 8U, 9U}) {  // most of the second beat
    std::fill(sheet.chord.row(row).begin(), sheet.chord.row(row).end(), 0.7F / 168.0F);
    sheet.chord.row(row)[chord_column(6, minor)] = 0.3F;
  }
  EXPECT_EQ(decode_harmony(sheet.evidence(), grid_of(32), {}, {}).chords.size(), 8U);
}

TEST(ChordDecoder, says_no_chord_in_a_count_in) {
  const std::vector<ChartChord> chart{{std::nullopt}, {0, dominant_seventh}, {5, dominant_seventh}};
  const auto harmony = decode_harmony(evidence_of(chart), grid_of(12), {}, {});
  ASSERT_EQ(harmony.chords.size(), 3U);
  EXPECT_FALSE(harmony.chords[0].chord.root_pc);
  EXPECT_EQ(harmony.chords[1].begin_seconds, 2.0);
}

TEST(ChordDecoder, writes_the_bass_note_of_an_inversion) {
  auto sheet = sheet_of({{0, major}, {7, major}, {0, major}});
  for (std::size_t row = 0; row < sheet.bass.row_count() / 3; ++row) {
    std::fill(sheet.bass.row(row).begin(), sheet.bass.row(row).end(), 0.01F);
    sheet.bass.row(row)[4] = 0.89F;
  }
  const auto harmony = decode_harmony(sheet.evidence(), grid_of(12), {}, {});
  ASSERT_EQ(harmony.chords.size(), 3U);
  EXPECT_EQ(harmony.chords[0].chord.root_pc, 0);
  EXPECT_EQ(harmony.chords[0].chord.bass_pc, 4);  // C/E
  EXPECT_EQ(harmony.chords[2].chord.bass_pc, 0);
}

TEST(ChordDecoder, lets_the_line_decide_between_equal_chords) {
  // C6 and Am7 hold the same four notes; which it is, the bass says.
  const std::vector<ChartChord> chart{{0, major_sixth}, {0, major_sixth}};
  auto sheet = sheet_of(chart, 0.45F);
  for (std::size_t row = 0; row < sheet.chord.row_count(); ++row) {
    sheet.chord.row(row)[chord_column(9, minor_seventh)] = 0.45F;
  }
  for (const int root : {0, 9}) {
    std::vector<DecodedNote> notes;
    for (int beat = 0; beat < 8; ++beat) {
      const int midi = beat % 4 == 0 ? 36 + root : beat % 4 == 2 ? 40 : 38;
      notes.push_back({0.5 * beat, 0.5 * beat + 0.45, midi, false, 0.9, 1.0, {}});
    }
    const auto harmony = decode_harmony(sheet.evidence(), grid_of(8), notes, {});
    ASSERT_FALSE(harmony.chords.empty());
    EXPECT_EQ(harmony.chords[0].chord.root_pc, root);
  }
}

TEST(ChordDecoder, returns_confirmed_chords_as_they_are_and_reads_around_them) {
  ChordDecoderOptions options;
  options.fixed = {{2.0, 3.3, {8, augmented, 0}}, {10.0, 12.0, {}}};
  const auto harmony = decode_harmony(evidence_of(turnaround), grid_of(32), {}, options);
  std::size_t found = 0;
  double end = 0.0;
  for (const auto& chord : harmony.chords) {
    EXPECT_NEAR(chord.begin_seconds, end, 1e-9);
    end = chord.end_seconds;
    for (const auto& fixed : options.fixed) {
      if (chord.begin_seconds != fixed.begin_seconds) continue;
      ++found;
      EXPECT_EQ(chord.end_seconds, fixed.end_seconds);
      EXPECT_EQ(chord.chord, fixed.chord);
      EXPECT_EQ(chord.confidence, 1.0);
    }
  }
  EXPECT_EQ(found, 2U);
  EXPECT_EQ(harmony.chords[0].chord.root_pc, 0);
}

TEST(ChordDecoder, offers_the_runner_up_with_its_probability) {
  auto sheet = sheet_of({{2, minor_seventh}, {2, minor_seventh}}, 0.30F);
  for (std::size_t row = 0; row < sheet.chord.row_count(); ++row) {
    sheet.chord.row(row)[chord_column(5, major_sixth)] = 0.27F;
  }
  const auto harmony = decode_harmony(sheet.evidence(), grid_of(8), {}, {});
  ASSERT_EQ(harmony.chords.size(), 1U);
  ASSERT_FALSE(harmony.chords[0].alternatives.empty());
  EXPECT_EQ(harmony.chords[0].alternatives[0].chord.root_pc, 5);
  EXPECT_EQ(harmony.chords[0].alternatives[0].chord.quality, major_sixth);
  EXPECT_LT(harmony.chords[0].alternatives[0].probability, harmony.chords[0].confidence);
  EXPECT_LE(harmony.chords[0].alternatives.size(), 3U);
}

TEST(ChordDecoder, says_that_harmony_is_implied_where_only_roots_are_told) {
  // Under a bare line the evidence is sure of the roots and spreads over what may stand on them.
  auto sheet = sheet_of(turnaround, 0.6F);
  EXPECT_FALSE(decode_harmony(sheet.evidence(), grid_of(32), {}, {}).chords[0].is_implied);
  for (std::size_t row = 0; row < sheet.chord.row_count(); ++row) {
    const auto values = sheet.chord.row(row);
    const auto root = static_cast<std::size_t>(
        (std::max_element(values.begin(), values.end()) - values.begin()) / 14);
    std::fill(values.begin(), values.end(), 0.2F / 155.0F);
    for (std::size_t q = 0; q < chord_quality_count; ++q) {
      values[root * chord_quality_count + q] = q < 3 ? 0.2F : 0.2F / 11.0F;
    }
  }
  const auto harmony = decode_harmony(sheet.evidence(), grid_of(32), {}, {});
  ASSERT_FALSE(harmony.chords.empty());
  EXPECT_TRUE(harmony.chords[0].is_implied);
  EXPECT_EQ(harmony.chords[0].chord.root_pc, 0);
}

TEST(ChordDecoder, is_empty_without_a_grid_or_without_evidence) {
  EXPECT_TRUE(decode_harmony(evidence_of(turnaround), {}, {}, {}).chords.empty());
  EXPECT_TRUE(decode_harmony({}, grid_of(8), {}, {}).chords.empty());
}

}  // namespace
}  // namespace lowstride::dsp
