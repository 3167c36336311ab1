#include "dsp/pitch/note_decoder.hpp"

#include <cmath>
#include <cstddef>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/base/packed.hpp"

namespace lowstride::dsp {
namespace {

// Evidence written by hand: `certainty` for what sounds, the rest spread evenly.
class Sheet {
 public:
  explicit Sheet(std::size_t frames)
      : pitch(frames, evidence_pitch_count + 1), onset(frames, evidence_pitch_count, 1e-4F) {
    dead.assign(frames, 0.0F);
    hold(0, frames, no_pitch_column);
  }
  Sheet& hold(std::size_t begin, std::size_t end, std::size_t column, float certainty = 0.95F) {
    for (std::size_t t = begin; t < end; ++t) {
      for (float& value : pitch.row(t)) {
        value = (1.0F - certainty) / static_cast<float>(evidence_pitch_count);
      }
      pitch.row(t)[column] = certainty;
    }
    return *this;
  }
  // A strike whose logarithm is a parabola around `frame`, which may have a fraction.
  Sheet& strike(double frame, std::size_t column, double strength = 0.9) {
    for (int t = static_cast<int>(frame) - 3; t <= static_cast<int>(frame) + 4; ++t) {
      if (t < 0 || t >= static_cast<int>(pitch.row_count())) continue;
      const double away = t - frame;
      onset.row(static_cast<std::size_t>(t))[column] =
          static_cast<float>(strength * std::exp(-0.5 * away * away));
    }
    return *this;
  }
  Sheet& note(double begin, std::size_t end, std::size_t column, float certainty = 0.95F) {
    hold(static_cast<std::size_t>(std::lround(begin)), end, column, certainty);
    return strike(begin, column);
  }

  [[nodiscard]] Evidence evidence() const {
    Evidence evidence;
    evidence.pitch = packed(pitch);
    evidence.onset = packed(onset);
    evidence.dead = dead;
    return evidence;
  }

  Table pitch, onset;
  std::vector<float> dead;
};

TEST(NoteDecoder, proposes_nothing_without_evidence) {
  EXPECT_TRUE(decode_notes(Evidence{}, {}).empty());
  EXPECT_TRUE(decode_notes(Sheet(500).evidence(), {}).empty());
}

TEST(NoteDecoder, finds_notes_and_rests_and_times_strikes_between_frames) {
  Sheet sheet(200);
  sheet.note(20.3, 60, 10).note(60.8, 100, 12).note(130.0, 170, 7);
  const auto notes = decode_notes(sheet.evidence(), {});
  ASSERT_EQ(notes.size(), 3U);
  EXPECT_EQ(notes[0].midi, 33);
  EXPECT_EQ(notes[1].midi, 35);
  EXPECT_EQ(notes[2].midi, 30);
  // A parabola on logarithms is exact for a strike of Gaussian shape.
  EXPECT_NEAR(notes[0].onset_seconds, frame_seconds(20.3), 1e-4);
  EXPECT_NEAR(notes[1].onset_seconds, frame_seconds(60.8), 1e-4);
  EXPECT_NEAR(notes[2].onset_seconds, frame_seconds(130.0), 1e-4);
  EXPECT_NEAR(notes[1].offset_seconds, frame_seconds(99.5), 1e-9);
  EXPECT_NEAR(notes[2].offset_seconds, frame_seconds(169.5), 1e-9);
}

TEST(NoteDecoder, tells_a_repeated_note_from_a_held_one) {
  Sheet held(120);
  held.note(10, 100, 9);
  EXPECT_EQ(decode_notes(held.evidence(), {}).size(), 1U);
  Sheet struck_again(120);
  struck_again.note(10, 100, 9).strike(55, 9);
  const auto notes = decode_notes(struck_again.evidence(), {});
  ASSERT_EQ(notes.size(), 2U);
  EXPECT_NEAR(notes[1].onset_seconds, frame_seconds(55), 1e-4);
  EXPECT_DOUBLE_EQ(notes[0].offset_seconds, notes[1].onset_seconds);
}

TEST(NoteDecoder, begins_a_slurred_note_that_is_hardly_struck) {
  Sheet sheet(120);
  sheet.note(10, 50, 9).hold(50, 100, 11).strike(50, 11, 0.05);
  const auto notes = decode_notes(sheet.evidence(), {});
  ASSERT_EQ(notes.size(), 2U);
  EXPECT_EQ(notes[1].midi, 34);
  EXPECT_NEAR(notes[1].onset_seconds, frame_seconds(50), 0.012);
}

TEST(NoteDecoder, does_not_believe_an_octave_that_flickers) {
  Sheet sheet(120);
  sheet.note(10, 100, 9).hold(40, 42, 21);
  EXPECT_EQ(decode_notes(sheet.evidence(), {}).size(), 1U);
}

TEST(NoteDecoder, keeps_out_of_decided_spans_and_does_not_repeat_what_rings_out_of_them) {
  Sheet sheet(300);
  sheet.note(20, 90, 10).note(110, 180, 12).note(200, 270, 14);
  NoteDecoderOptions options;
  options.decided = {{frame_seconds(100), frame_seconds(150)}};
  const auto notes = decode_notes(sheet.evidence(), options);
  ASSERT_EQ(notes.size(), 2U);
  EXPECT_EQ(notes[0].midi, 33);
  EXPECT_EQ(notes[1].midi, 37);
}

TEST(NoteDecoder, ends_a_note_where_a_decided_span_begins) {
  Sheet sheet(200);
  sheet.note(20, 150, 10);
  NoteDecoderOptions options;
  options.decided = {{frame_seconds(60), frame_seconds(80)}};
  const auto notes = decode_notes(sheet.evidence(), options);
  ASSERT_EQ(notes.size(), 1U);
  EXPECT_NEAR(notes[0].offset_seconds, frame_seconds(59.5), 1e-9);
}

TEST(NoteDecoder, reads_a_stretch_as_the_whole_reads_it) {
  Sheet sheet(600);
  for (std::size_t i = 0; i < 10; ++i) {
    sheet.note(20.4 + 50.0 * static_cast<double>(i), 60 + 50 * i, 8 + i);
  }
  const auto whole = decode_notes(sheet.evidence(), {});
  NoteDecoderOptions options;
  options.stretch = DecodedStretch{frame_seconds(200), frame_seconds(415)};
  const auto part = decode_notes(sheet.evidence(), options);
  ASSERT_EQ(part.size(), 4U);
  for (std::size_t i = 0; i < part.size(); ++i) EXPECT_EQ(part[i], whole[i + 4]) << i;
}

TEST(NoteDecoder, stays_within_the_range_that_it_is_given) {
  Sheet sheet(100);
  sheet.note(20, 80, 5, 0.6F);
  for (std::size_t t = 20; t < 80; ++t) {
    sheet.pitch.row(t)[17] = 0.3F;
    sheet.pitch.row(t)[no_pitch_column] = 0.02F;
  }
  sheet.strike(20, 17);
  NoteDecoderOptions options;
  options.lowest_midi = 40;
  const auto notes = decode_notes(sheet.evidence(), options);
  ASSERT_EQ(notes.size(), 1U);
  EXPECT_EQ(notes[0].midi, 40);
  for (const PitchCandidate& other : notes[0].alternatives) EXPECT_GE(other.midi, 40);
}

TEST(NoteDecoder, ranks_alternatives_and_states_the_octave_margin) {
  Sheet sheet(100);
  sheet.note(20, 80, 5, 0.6F);
  for (std::size_t t = 20; t < 80; ++t) {
    sheet.pitch.row(t)[17] = 0.2F;
    sheet.pitch.row(t)[6] = 0.1F;
  }
  const auto notes = decode_notes(sheet.evidence(), {});
  ASSERT_EQ(notes.size(), 1U);
  ASSERT_GE(notes[0].alternatives.size(), 2U);
  EXPECT_LE(notes[0].alternatives.size(), 4U);
  EXPECT_EQ(notes[0].alternatives[0].midi, 40);
  EXPECT_EQ(notes[0].alternatives[1].midi, 29);
  EXPECT_NEAR(notes[0].octave_margin, 0.6 / 0.8, 0.03);
}

TEST(NoteDecoder, hears_dead_strokes_between_notes_but_not_inside_one_that_goes_on) {
  Sheet sheet(200);
  sheet.note(20, 60, 10).note(100, 180, 12);
  sheet.dead[80] = 0.8F;
  sheet.dead[140] = 0.8F;
  const auto notes = decode_notes(sheet.evidence(), {});
  ASSERT_EQ(notes.size(), 3U);
  EXPECT_TRUE(notes[1].is_dead);
  EXPECT_NEAR(notes[1].onset_seconds, frame_seconds(80), 1e-9);
  EXPECT_NEAR(notes[1].confidence, 0.8, 1e-6);
  EXPECT_FALSE(notes[2].is_dead);
  EXPECT_NEAR(notes[2].offset_seconds, frame_seconds(179.5), 1e-9);
}

TEST(NoteDecoder, does_not_propose_the_first_moments_of_a_note_that_was_decided_a_little_late) {
  Sheet sheet(200);
  sheet.note(50, 120, 10);
  NoteDecoderOptions options;
  options.decided = {{frame_seconds(55), frame_seconds(120)}};
  EXPECT_TRUE(decode_notes(sheet.evidence(), options).empty());
}

TEST(NoteDecoder, reads_the_note_after_a_decided_span_that_ends_on_its_strike) {
  Sheet sheet(200);
  sheet.note(20, 50, 10).note(50, 120, 12);
  NoteDecoderOptions options;
  options.decided = {{frame_seconds(20), frame_seconds(51)}};
  const auto notes = decode_notes(sheet.evidence(), options);
  ASSERT_EQ(notes.size(), 1U);
  EXPECT_EQ(notes[0].midi, 35);
}

// Twelve short, doubtful notes in thirty seconds, as speech gives them.
Sheet hearsay() {
  Sheet sheet(2600);
  for (std::size_t i = 0; i < 12; ++i) {
    sheet.note(50.0 + 200.0 * static_cast<double>(i), 60 + 200 * i, 20 + i % 3, 0.7F);
  }
  return sheet;
}

TEST(NoteDecoder, drops_short_doubtful_notes_that_stand_alone) {
  EXPECT_TRUE(decode_notes(hearsay().evidence(), {}).empty());
}

TEST(NoteDecoder, keeps_doubtful_notes_beside_sure_ones_and_where_a_person_has_decided) {
  Sheet sheet = hearsay();
  for (std::size_t i = 0; i < 12; ++i) {
    sheet.note(100.0 + 200.0 * static_cast<double>(i), 180 + 200 * i, 10, 0.97F);
  }
  EXPECT_EQ(decode_notes(sheet.evidence(), {}).size(), 24U);
  NoteDecoderOptions options;
  options.decided = {{frame_seconds(70), frame_seconds(90)}};
  EXPECT_EQ(decode_notes(hearsay().evidence(), options).size(), 12U);
}

TEST(NoteDecoder, is_surer_of_a_clear_strike_and_a_high_posterior) {
  const auto confidence = [](float posterior, double strike) {
    Sheet sheet(200);
    sheet.hold(20, 180, 10, posterior).strike(20, 10, strike);
    return decode_notes(sheet.evidence(), {}).at(0).confidence;
  };
  EXPECT_GT(confidence(0.95F, 0.9), 0.95);
  EXPECT_GT(confidence(0.95F, 0.9), confidence(0.7F, 0.9));
  EXPECT_GT(confidence(0.95F, 0.9), confidence(0.95F, 0.4));
  EXPECT_LT(confidence(0.7F, 0.3), 0.6);
}

TEST(NoteDecoder, notes_are_in_order_and_never_overlap_whatever_the_evidence) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    std::gamma_distribution<float> share(0.15F);
    std::uniform_real_distribution<float> uniform(0.0F, 1.0F);
    Sheet sheet(400);
    for (std::size_t t = 0; t < 400; ++t) {
      float sum = 0.0F;
      for (float& value : sheet.pitch.row(t)) sum += value = share(random) + 1e-6F;
      for (float& value : sheet.pitch.row(t)) value /= sum;
      for (float& value : sheet.onset.row(t)) value = uniform(random);
      sheet.dead[t] = uniform(random);
    }
    NoteDecoderOptions options;
    options.decided = {{1.0, 1.5}, {1.4, 2.0}, {3.0, 3.01}};
    const auto notes = decode_notes(sheet.evidence(), options);
    EXPECT_EQ(notes, decode_notes(sheet.evidence(), options));
    for (std::size_t i = 0; i < notes.size(); ++i) {
      SCOPED_TRACE("seed " + std::to_string(seed) + ", note " + std::to_string(i));
      EXPECT_LT(notes[i].onset_seconds, notes[i].offset_seconds);
      if (i > 0) {
        EXPECT_LE(notes[i - 1].offset_seconds, notes[i].onset_seconds);
      }
      EXPECT_TRUE(notes[i].confidence >= 0.0 && notes[i].confidence <= 1.0);
      EXPECT_TRUE(notes[i].octave_margin >= 0.0 && notes[i].octave_margin <= 1.0);
      for (const DecidedSpan& span : options.decided) {
        EXPECT_TRUE(notes[i].offset_seconds <= span.begin_seconds ||
                    notes[i].onset_seconds >= span.end_seconds);
      }
    }
  }
}

}  // namespace
}  // namespace lowstride::dsp
