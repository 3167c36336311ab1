#include "src/sheet/comparison.hpp"

#include <cstdlib>
#include <fstream>
#include <map>
#include <random>

#include <gtest/gtest.h>

#include "src/notation/read.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/matching.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::sheet {
namespace {

using example::TakeMaker;

std::vector<NoteDifferenceKind> kinds(const Comparison& comparison) {
  std::vector<NoteDifferenceKind> all;
  for (const NoteDifference& difference : comparison.notes) all.push_back(difference.kind);
  return all;
}

// Entry 0 may have partners 0 and 1, entry 1 only 0, entry 2 only 2: all three by giving 1 to the
// first (worked by hand).
TEST(LargestMatching, gives_way_where_another_has_no_choice) {
  const std::vector<std::vector<std::size_t>> candidates{{0, 1}, {0}, {2}};
  const auto pairs = largest_matching(candidates, 3);
  EXPECT_EQ(pairs[0], 1U);
  EXPECT_EQ(pairs[1], 0U);
  EXPECT_EQ(pairs[2], 2U);
}

TEST(Comparison, a_take_and_itself_have_no_differences_and_full_scores) {
  const take::Take walk = example::walk();
  const Comparison comparison = compare(walk, walk);
  EXPECT_TRUE(comparison.is_alike());
  EXPECT_EQ(comparison.alike_count, walk.notes.size());
  EXPECT_EQ(comparison.scores.notes, (MatchScore{1.0, 1.0, 1.0}));
  EXPECT_EQ(comparison.scores.notes_with_ends.f1, 1.0);
  EXPECT_EQ(comparison.scores.beat_f, 1.0);
  EXPECT_EQ(comparison.scores.chord_sevenths, 1.0);
  EXPECT_NE(render_comparison(comparison, walk, walk, {"a", "b"}).find("No differences."),
            std::string::npos);
}

TEST(Comparison, every_kind_of_difference_is_named) {
  const take::Take other = example::walk();
  take::Take mine = other;
  mine.notes[0].midi += 12;             // octave
  mine.notes[1].midi += 1;              // pitch
  mine.notes[2].onset_samples += 4800;  // 100 ms late
  mine.notes[2].offset_samples += 100;
  mine.notes[4].position = neck::Position{4, 10, 1};  // D2 on the E string
  mine.notes[5].is_dead = true;
  mine.notes.erase(mine.notes.begin() + 6);  // missed
  take::Note added = mine.notes.back();
  added.onset_samples += 30000;
  added.offset_samples = added.onset_samples + 100;
  mine.notes.push_back(added);
  using enum NoteDifferenceKind;
  EXPECT_EQ(kinds(compare(mine, other)),
            (std::vector{octave, pitch, time, string_and_fret, dead, missed, extra}));
}

TEST(Comparison, chords_and_beats_that_differ_are_told_in_runs) {
  take::Take other = example::walk();
  take::Take mine = other;
  mine.chords[1].chord = theory::parse_chord("Ebm7")->chord;
  mine.beats.erase(mine.beats.begin() + 3);
  for (std::size_t i = 7; i < mine.beats.size(); ++i) ++mine.beats[i].bar;
  const Comparison comparison = compare(mine, other);
  ASSERT_EQ(comparison.chords.size(), 1U);
  EXPECT_EQ(comparison.chords[0].mine, 1U);
  EXPECT_EQ(comparison.chords[0].other, 1U);
  ASSERT_EQ(comparison.beats.size(), 2U);
  EXPECT_EQ(comparison.beats[0].kind, BeatDifferenceKind::missed);
  EXPECT_EQ(comparison.beats[1].kind, BeatDifferenceKind::count);
  EXPECT_EQ(comparison.beats[1].beat_count, other.beats.size() - 8);
  const std::string text = render_comparison(comparison, mine, other, {"mine", "theirs"});
  EXPECT_NE(text.find("b2:1   chord"), std::string::npos) << text;
  EXPECT_NE(text.find("Ebm7"), std::string::npos) << text;
}

/// A take with everything moved about: what a poor transcription looks like.
take::Take spoiled(const take::Take& from, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> jitter(0.0, 0.03);
  std::uniform_real_distribution<double> chance(0.0, 1.0);
  take::Take take = from;
  std::vector<take::Note> notes;
  for (take::Note note : take.notes) {
    if (chance(random) < 0.1) continue;
    const auto moved = static_cast<std::int64_t>(48000.0 * jitter(random));
    note.onset_samples = std::max<std::int64_t>(notes.empty() ? 0 : notes.back().offset_samples,
                                                note.onset_samples + moved);
    note.offset_samples =
        std::max(note.onset_samples + 10, note.offset_samples - (chance(random) < 0.3 ? 9000 : 0));
    if (chance(random) < 0.15) note.midi += chance(random) < 0.5 ? 12 : 1;
    notes.push_back(note);
  }
  take.notes = notes;
  for (auto& beat : take.beats) {
    beat.time_samples += static_cast<std::int64_t>(48000.0 * jitter(random) * 2.0);
  }
  for (auto& chord : take.chords) {
    if (chance(random) < 0.4) {
      chord.chord.quality = static_cast<dsp::ChordQuality>(random() % dsp::chord_quality_count);
    }
    if (chance(random) < 0.3) chord.chord.bass_pc = static_cast<int>(random() % 12);
  }
  return take;
}

class ComparisonScored : public take::testing_help::FolderTest {};

// Against mir_eval (Debian's python3-mir-eval 0.7), which publishes these scores, on the exported
// tables of twelve pairs of takes.
TEST_F(ComparisonScored, scores_are_those_of_mir_eval) {
  if (std::system("/usr/bin/python3 -c 'import mir_eval' 2>/dev/null") != 0) {
    GTEST_SKIP() << "python3-mir-eval is not installed";
  }
  const take::Take truth = example::walk();
  for (unsigned seed = 1; seed <= 12; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    const take::Take mine = spoiled(truth, seed);
    ASSERT_TRUE(export_tables(mine, folder_ / "mine"));
    ASSERT_TRUE(export_tables(truth, folder_ / "truth"));
    const std::string command = std::string("/usr/bin/python3 '") + LOWSTRIDE_TABLE_SCORER + "' '" +
                                (folder_ / "mine").string() + "' '" + (folder_ / "truth").string() +
                                "' >'" + (folder_ / "scores").string() + "'";
    ASSERT_EQ(std::system(command.c_str()), 0);
    std::map<std::string, std::vector<double>> theirs;
    std::ifstream stream(folder_ / "scores");
    for (std::string line; std::getline(stream, line);) {
      std::istringstream words(line);
      std::string name;
      words >> name;
      for (double value = 0.0; words >> value;) theirs[name].push_back(value);
    }
    const ComparisonScores ours = compare(mine, truth).scores;
    constexpr double tolerance = 1e-6;  // tables have microseconds
    const auto expect_match = [&](const MatchScore& score, const std::string& name) {
      ASSERT_EQ(theirs[name].size(), 3U);
      EXPECT_NEAR(score.precision, theirs[name][0], tolerance) << name;
      EXPECT_NEAR(score.recall, theirs[name][1], tolerance) << name;
      EXPECT_NEAR(score.f1, theirs[name][2], tolerance) << name;
    };
    expect_match(ours.notes, "notes");
    expect_match(ours.notes_with_ends, "ends");
    const auto expect_share = [&](const std::optional<double>& share, const std::string& name) {
      ASSERT_EQ(theirs[name].size(), 1U);
      EXPECT_NEAR(share.value_or(0.0), theirs[name][0], 1e-5) << name;
    };
    expect_share(ours.beat_f, "beats");
    expect_share(ours.downbeat_f, "downbeats");
    expect_share(ours.chord_root, "root");
    expect_share(ours.chord_majmin, "majmin");
    expect_share(ours.chord_sevenths, "sevenths");
    // The tables read back say the same.
    const auto read = notation::read_tables(folder_ / "truth");
    ASSERT_TRUE(read) << read.error().message;
    EXPECT_NEAR(compare(mine, read->take).scores.notes.f1, ours.notes.f1, tolerance);
    EXPECT_NEAR(*compare(mine, read->take).scores.chord_sevenths, *ours.chord_sevenths, 1e-5);
  }
}

}  // namespace
}  // namespace lowstride::sheet
