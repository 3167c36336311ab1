#include "src/neck/motifs.hpp"

#include <random>
#include <string>

#include <gtest/gtest.h>

#include "src/neck/fingering.hpp"
#include "src/neck/hand.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::neck {
namespace {

std::vector<LineNote> notes(const std::vector<int>& midi, double seconds = 0.4) {
  std::vector<LineNote> line;
  for (std::size_t i = 0; i < midi.size(); ++i) {
    const double onset = seconds * static_cast<double>(i);
    line.push_back({onset, onset + 0.95 * seconds, midi[i], false, std::nullopt});
  }
  return line;
}

std::vector<detail::Stage> stages_of(const std::vector<LineNote>& line) {
  std::vector<detail::Stage> stages;
  for (std::size_t i = 0; i < line.size(); ++i) stages.push_back({i, line[i], {}});
  return stages;
}

TEST(Motifs, are_found_by_their_steps_and_rhythm_on_any_pitch) {
  // Root, third, fifth, sixth on F, then on B flat, then on C in another rhythm.
  auto line = notes({29, 33, 36, 38, 34, 38, 41, 43, 36, 40, 43, 45});
  const auto found = detail::repeated_motifs(stages_of(line));
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].length, 4U);
  EXPECT_EQ(found[0].starts, (std::vector<std::size_t>{0, 4, 8}));
  line[10].onset_seconds += 0.2;
  EXPECT_EQ(detail::repeated_motifs(stages_of(line))[0].starts, (std::vector<std::size_t>{0, 4}));
  EXPECT_TRUE(detail::repeated_motifs(stages_of(notes({29, 29, 29, 29, 29, 29, 29, 29}))).empty());
  EXPECT_TRUE(detail::repeated_motifs({}).empty());
}

// A pattern learnt on one string is moved to the next one, not learnt anew (common practice): each
// time the same fingers, the same frets from the first note and the same strings from it.
TEST(Motifs, keep_their_shape_on_other_strings) {
  const Neck bass = *find_neck("bass");
  // Root, third, fifth, sixth, flat seventh, sixth, fifth, third on A flat and D flat, twice: the
  // hand stays, and the pattern goes from string to string.
  std::vector<int> midi;
  for (const int root : {32, 37, 32, 37}) {
    for (const int above : {0, 4, 7, 9, 10, 9, 7, 4}) midi.push_back(root + above);
  }
  const auto fingering = finger_line(bass, notes(midi));
  ASSERT_TRUE(fingering);
  EXPECT_GE(fingering->kept_shape_count, 1);
  for (std::size_t start = 8; start < midi.size(); start += 8) {
    const int strings = fingering->notes[start].position->string_number -
                        fingering->notes[0].position->string_number;
    const int frets = fingering->notes[start].position->fret - fingering->notes[0].position->fret;
    for (std::size_t i = 0; i < 8; ++i) {
      const Position& first = *fingering->notes[i].position;
      const Position& other = *fingering->notes[start + i].position;
      EXPECT_EQ(other.string_number - first.string_number, strings) << start + i;
      EXPECT_EQ(other.fret - first.fret, frets) << start + i;
      EXPECT_EQ(other.finger, first.finger) << start + i;
    }
  }
}

/// Whether eight notes have one shape at two places: strings, frets and fingers from the first on.
bool is_alike(const std::vector<Position>& path, std::size_t first, std::size_t other,
              std::size_t length) {
  for (std::size_t i = 1; i < length; ++i) {
    const Position& a = path[first + i];
    const Position& b = path[other + i];
    if (a.string_number - path[first].string_number !=
            b.string_number - path[other].string_number ||
        a.fret - path[first].fret != b.fret - path[other].fret || a.finger != b.finger) {
      return false;
    }
  }
  return true;
}

// What the hand gains by it: patterns between other notes, which pull each occurrence another way,
// come out alike far more often than on the cheapest path alone, and never less often.
TEST(Motifs, come_out_alike_where_the_cheapest_path_would_break_them_up) {
  constexpr unsigned seed = 12;
  std::mt19937 random(seed);
  const auto number = [&random](int low, int high) {
    return std::uniform_int_distribution<int>(low, high)(random);
  };
  const Neck bass = *find_neck("bass");
  const Hand hand(bass, {});
  int alike_on_cheapest = 0;
  int alike_as_fingered = 0;
  for (int line_index = 0; line_index < 60; ++line_index) {
    std::vector<int> midi;
    std::vector<std::size_t> starts;
    std::vector<int> shape{0, 4, 7, 9, 10, 9};
    if (line_index % 2 == 0) shape = {0, 3, 5, 6, 7, 5};
    for (int k = 0; k < 4; ++k) {
      const int root = number(30, 42);
      starts.push_back(midi.size());
      for (const int above : shape) midi.push_back(root + above);
      for (int i = 0; i < 3; ++i) midi.push_back(number(30, 52));
    }
    const auto line = notes(midi, 0.3);
    std::vector<detail::Stage> stages = stages_of(line);
    for (detail::Stage& stage : stages) stage.grips = hand.grips(stage.note);
    std::vector<Position> cheapest;
    for (const Grip& grip : detail::cheapest_path(hand, stages, {}, {}).path) {
      cheapest.push_back({grip.string_number, grip.fret, grip.finger});
    }
    const auto fingering = finger_line(bass, line);
    ASSERT_TRUE(fingering);
    std::vector<Position> fingered;
    for (const FingeredNote& note : fingering->notes) fingered.push_back(*note.position);
    for (std::size_t k = 1; k < starts.size(); ++k) {
      alike_on_cheapest += is_alike(cheapest, starts[0], starts[k], shape.size()) ? 1 : 0;
      alike_as_fingered += is_alike(fingered, starts[0], starts[k], shape.size()) ? 1 : 0;
    }
  }
  EXPECT_GE(alike_as_fingered, alike_on_cheapest + 20)
      << alike_on_cheapest << " of 180 on the cheapest path";
}

TEST(Motifs, with_open_strings_go_from_string_to_string_only) {
  const Neck bass = *find_neck("bass");
  // Root, third, fifth, sixth on G and on C lie alike with open strings; on A flat they cannot.
  const auto fingering =
      finger_line(bass, notes({31, 35, 38, 40, 36, 40, 43, 45, 32, 36, 39, 41}, 0.6));
  ASSERT_TRUE(fingering);
  for (std::size_t i = 0; i < 4; ++i) {
    EXPECT_EQ(fingering->notes[i].position->fret, fingering->notes[4 + i].position->fret) << i;
  }
  for (std::size_t i = 8; i < 12; ++i) EXPECT_GT(fingering->notes[i].position->fret, 0) << i;
}

TEST(Motifs, are_never_kept_at_the_price_of_a_playable_line) {
  constexpr unsigned seed = 99;
  std::mt19937 random(seed);
  std::uniform_int_distribution<int> root(28, 50);
  std::uniform_int_distribution<int> step(-4, 7);
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", line " + std::to_string(i));
    std::vector<int> shape{0};
    for (int k = 0; k < 5; ++k) shape.push_back(std::max(0, shape.back() + step(random)));
    std::vector<int> midi;
    for (int k = 0; k < 6; ++k) {
      const int at = root(random);
      for (const int above : shape) midi.push_back(std::min(62, at + above));
    }
    const Neck bass = *find_neck("bass");
    const auto line = notes(midi);
    const auto fingering = finger_line(bass, line);
    ASSERT_TRUE(fingering);
    for (std::size_t k = 0; k < line.size(); ++k) {
      const Position& position = *fingering->notes[k].position;
      EXPECT_EQ(sounding_midi(bass, position.string_number, position.fret), midi[k]);
      EXPECT_EQ(position.finger == 0, position.fret == 0);
    }
  }
}

}  // namespace
}  // namespace lowstride::neck
