#include "src/parts/level_line.hpp"

#include <algorithm>
#include <cstdlib>
#include <map>

#include <gtest/gtest.h>

#include "src/theory/chord_label.hpp"
#include "src/theory/scale.hpp"
#include "tests/parts/charts.hpp"

namespace lowstride::parts {
namespace {

using dsp::ChordQuality;
using testing_help::random_chart;
using testing_help::RandomChart;

constexpr PitchRange bass_range{28, 55};
constexpr std::uint32_t chart_count = 400;

int pc(int midi) { return ((midi % 12) + 12) % 12; }
bool holds(unsigned mask, int midi) {
  return ((mask >> static_cast<unsigned>(pc(midi))) & 1U) != 0U;
}

/// The notes of a level by the beat that they begin on.
std::map<std::size_t, ChartNote> by_beat(const RandomChart& chart, Level level) {
  std::map<std::size_t, ChartNote> notes;
  for (const ChartNote& note : level_line(chart.beats, level, chart.key, bass_range)) {
    notes[note.beat] = note;
  }
  return notes;
}

template <typename Check>
void for_all_charts(Level level, Check check) {
  for (std::uint32_t seed = 1; seed <= chart_count; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed << ", level " << static_cast<int>(level));
    const RandomChart chart = random_chart(seed, bass_range.lowest_midi, bass_range.highest_midi);
    check(chart, chord_runs(chart.beats), by_beat(chart, level));
    if (testing::Test::HasFailure()) return;
  }
}

constexpr Level written_levels[] = {Level::roots, Level::walk_ups, Level::root_fifth,
                                    Level::chord_tones, Level::approaches};

TEST(LevelLine, keeps_order_range_and_length) {
  for (const Level level : written_levels) {
    for_all_charts(level, [](const RandomChart& chart, const auto&, const auto& notes) {
      std::size_t free_from = 0;
      for (const auto& [beat, note] : notes) {
        ASSERT_GE(beat, free_from);
        ASSERT_GE(note.length_beats, 1U);
        free_from = beat + note.length_beats;
        ASSERT_LE(free_from, chart.beats.size());
        ASSERT_GE(note.midi, bass_range.lowest_midi);
        ASSERT_LE(note.midi, bass_range.highest_midi);
      }
    });
  }
}

// The rules below are common practice, with no other source.
TEST(LevelLine, each_chord_is_begun_by_its_root) {
  for (const Level level : written_levels) {
    for_all_charts(level, [](const RandomChart&, const auto& runs, const auto& notes) {
      for (const ChordRun& run : runs) {
        if (!run.chord.root_pc) continue;
        ASSERT_TRUE(notes.contains(run.begin)) << "beat " << run.begin;
        ASSERT_EQ(pc(notes.at(run.begin).midi), run.chord.bass_pc) << "beat " << run.begin;
      }
    });
  }
}

TEST(LevelLine, a_walk_is_of_the_scale_in_force_and_leads_by_step_to_the_next_root) {
  int walks = 0;
  for_all_charts(
      Level::walk_ups, [&](const RandomChart& chart, const auto& runs, const auto& notes) {
        for (std::size_t r = 0; r + 1 < runs.size(); ++r) {
          const ChordRun& run = runs[r];
          const ChordRun& next = runs[r + 1];
          if (!run.chord.root_pc || !next.chord.root_pc) continue;
          const unsigned scale = theory::scale_in_force(run.chord, chart.key);
          const int target = notes.at(next.begin).midi;
          int after = target;
          int direction = 0;
          for (std::size_t beat = run.end; beat-- > run.begin + 1;) {
            const auto note = notes.find(beat);
            if (note == notes.end() || pc(note->second.midi) == run.chord.bass_pc) break;
            const int midi = note->second.midi;
            ASSERT_TRUE(holds(scale, midi)) << "beat " << beat << " plays " << midi;
            // By step: no note of the scale lies between this one and the one that it leads to.
            const int towards = after > midi ? 1 : -1;
            if (direction == 0) direction = towards;
            ASSERT_EQ(towards, direction) << "a walk goes one way";
            for (int between = midi + towards; between != after; between += towards) {
              ASSERT_FALSE(holds(scale, between)) << "beat " << beat;
            }
            after = midi;
            ++walks;
          }
          if (run.beat_count() > 2 && next.chord.bass_pc != run.chord.bass_pc) {
            ASSERT_TRUE(notes.contains(run.end - 1)) << "no walk before beat " << run.end;
          }
        }
      });
  EXPECT_GT(walks, 1000);
}

TEST(LevelLine, root_and_fifth_take_turns_with_the_fifth_below_where_there_is_one) {
  int below = 0;
  int above = 0;
  for_all_charts(
      Level::root_fifth, [&](const RandomChart& chart, const auto& runs, const auto& notes) {
        for (const ChordRun& run : runs) {
          if (!run.chord.root_pc || run.chord.bass_pc != *run.chord.root_pc) continue;
          const unsigned tones = dsp::chord_tone_mask(run.chord.quality);
          const int fifth = (tones & (1U << 7U)) != 0U ? 7 : (tones & (1U << 6U)) != 0U ? 6 : 8;
          const int root = notes.at(run.begin).midi;
          bool was_root = false;
          for (std::size_t beat = run.begin; beat < run.end; ++beat) {
            const auto note = notes.find(beat);
            if (note == notes.end()) continue;
            const int midi = note->second.midi;
            if (chart.beats[beat].begins_bar || beat == run.begin) {
              ASSERT_EQ(midi, root) << "a bar begins with the root";
            } else if (was_root) {
              const int fifth_below = root - 12 + fifth;
              if (fifth_below >= bass_range.lowest_midi) {
                ASSERT_EQ(midi, fifth_below);
                ++below;
              } else {
                ASSERT_EQ(midi, root + fifth);
                ++above;
              }
            }
            was_root = midi == root;
          }
        }
      });
  EXPECT_GT(below, 200);
  EXPECT_GT(above, 50);
}

TEST(LevelLine, chord_tones_are_tones_and_the_third_is_the_chords_own) {
  int thirds = 0;
  for_all_charts(Level::chord_tones, [&](const RandomChart&, const auto& runs, const auto& notes) {
    for (const ChordRun& run : runs) {
      if (!run.chord.root_pc) continue;
      const unsigned tones = theory::chord_pitch_classes(run.chord);
      const unsigned own = dsp::chord_tone_mask(run.chord.quality);
      int count = 0;
      bool has_third = false;
      for (std::size_t beat = run.begin; beat < run.end; ++beat) {
        const auto note = notes.find(beat);
        if (note == notes.end()) continue;
        ++count;
        ASSERT_TRUE(holds(tones, note->second.midi)) << "beat " << beat;
        const int above = pc(note->second.midi - *run.chord.root_pc);
        if ((own & (1U << 3U)) != 0U) {
          has_third = has_third || above == 3;
        } else {
          has_third = has_third || above == ((own & (1U << 4U)) != 0U ? 4 : 5);
        }
      }
      if (count >= 3) {
        ASSERT_TRUE(has_third) << "beat " << run.begin;
        ++thirds;
      }
    }
  });
  EXPECT_GT(thirds, 1000);
}

TEST(LevelLine, the_beat_before_a_change_is_a_step_from_the_next_root) {
  int half_steps = 0;
  for_all_charts(
      Level::approaches, [&](const RandomChart& chart, const auto& runs, const auto& notes) {
        for (std::size_t r = 0; r + 1 < runs.size(); ++r) {
          const ChordRun& run = runs[r];
          const ChordRun& next = runs[r + 1];
          if (!run.chord.root_pc || !next.chord.root_pc || run.beat_count() < 2 ||
              run.chord.bass_pc == next.chord.bass_pc) {
            continue;
          }
          ASSERT_TRUE(notes.contains(run.end - 1));
          const int midi = notes.at(run.end - 1).midi;
          const int distance = std::abs(midi - notes.at(next.begin).midi);
          ASSERT_TRUE(distance == 1 || distance == 2) << "beat " << run.end - 1;
          if (distance == 2) {
            ASSERT_TRUE(holds(theory::scale_in_force(run.chord, chart.key), midi));
            ASSERT_EQ(chart.beats[run.end - 1].line_midi, midi) << "a whole step is the line's own";
          }
          half_steps += distance == 1 ? 1 : 0;
        }
      });
  EXPECT_GT(half_steps, 1000);
}

TEST(LevelLine, a_line_that_is_sparse_stays_so) {
  RandomChart chart = random_chart(1, 28, 55);
  std::size_t struck = 0;
  for (std::size_t i = 0; i < chart.beats.size(); ++i) {
    chart.beats[i].chord = {0, ChordQuality::major, 0};
    chart.beats[i].line_midi.reset();
    if (i % 4 == 0 || i % 4 == 2) chart.beats[i].line_midi = 36;
    struck += chart.beats[i].line_midi ? 1U : 0U;
  }
  EXPECT_EQ(by_beat(chart, Level::chord_tones).size(), struck);
  EXPECT_EQ(by_beat(chart, Level::approaches).size(), struck);
}

/// Twelve bars of one chord each, without a line.
std::vector<ChartBeat> bars_of(const std::vector<dsp::ChordReading>& chords) {
  std::vector<ChartBeat> beats;
  for (std::size_t bar = 0; bar < chords.size(); ++bar) {
    for (int beat = 0; beat < 4; ++beat) {
      beats.push_back({chords[bar], beat == 0, std::nullopt, static_cast<int>(bar) + 1});
    }
  }
  return beats;
}

std::vector<int> pitches(const std::vector<ChartNote>& notes) {
  std::vector<int> midi;
  for (const ChartNote& note : notes) midi.push_back(note.midi);
  return midi;
}

// G7 to C7 in G: G held, then A and B lead to C; back down by B flat and A, of the scale of C7 in
// G (F natural is no part of it, B flat is the seventh).
TEST(LevelLine, walks_from_g7_to_c7_and_back_as_taught) {
  const dsp::ChordReading g7{7, ChordQuality::dominant_seventh, 7};
  const dsp::ChordReading c7{0, ChordQuality::dominant_seventh, 0};
  const auto line =
      level_line(bars_of({g7, c7, g7}), Level::walk_ups, theory::Key{7, false}, bass_range);
  EXPECT_EQ(pitches(line), (std::vector<int>{31, 33, 35, 36, 34, 33, 31}));
}

// The boogie bass of the handbooks: root, third, fifth, sixth, flat seventh and back.
TEST(BoogieLine, adds_the_sixth_and_on_seventh_chords_the_flat_seventh) {
  const dsp::ChordReading e7{4, ChordQuality::dominant_seventh, 4};
  const dsp::ChordReading a{9, ChordQuality::major, 9};
  const dsp::ChordReading b7{11, ChordQuality::dominant_seventh, 11};
  EXPECT_EQ(pitches(boogie_line(bars_of({e7, e7, a, b7}), {28, 62})),
            (std::vector<int>{28, 32, 35, 37, 38, 37, 35, 32, 33, 37, 40, 42, 35, 42, 44, 45}));
  for (std::uint32_t seed = 1; seed <= chart_count; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    const RandomChart chart = random_chart(seed, 28, 50);
    const auto notes = boogie_line(chart.beats, {28, 62});
    for (const ChordRun& run : chord_runs(chart.beats)) {
      if (!run.chord.root_pc || run.beat_count() < 4) continue;
      const unsigned own = dsp::chord_tone_mask(run.chord.quality);
      if ((own & (1U << 7U)) == 0U) continue;
      unsigned played = 0;
      for (const ChartNote& note : notes) {
        if (note.beat >= run.begin && note.beat < run.end) {
          played |= 1U << static_cast<unsigned>(pc(note.midi - *run.chord.root_pc));
        }
      }
      ASSERT_NE(played & (1U << 9U), 0U) << "no sixth, beat " << run.begin;
      if ((own & (1U << 10U)) != 0U) {
        ASSERT_NE(played & (1U << 10U), 0U) << "no flat seventh, beat " << run.begin;
      }
      const unsigned wrong_third = (own & (1U << 3U)) != 0U ? 4U : 3U;
      ASSERT_EQ(played & (1U << wrong_third), 0U) << "the other third, beat " << run.begin;
    }
  }
}

}  // namespace
}  // namespace lowstride::parts
