#include <random>

#include <gtest/gtest.h>

#include "src/notation/read.hpp"
#include "src/notation/standard_midi_file.hpp"
#include "src/sheet/export.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"
#include "tests/notation/midi_bytes.hpp"
#include "tests/sheet/example_takes.hpp"
#include "tests/take/temporary_folder.hpp"

namespace lowstride::notation {
namespace {

using midi_bytes::Events;

class ReadMidi : public take::testing_help::FolderTest {
 protected:
  [[nodiscard]] Result<ReadTake> read(const std::string& bytes,
                                      const ReadOptions& options = {}) const {
    write_bytes(folder_ / "line.mid", bytes);
    return read_line(folder_ / "line.mid", options);
  }
};

// Two bars of 4/4 at 60 and then 120 a minute: seconds counted by hand.
TEST_F(ReadMidi, times_bars_and_facts_are_those_of_the_file) {
  Events conductor{{0, midi_bytes::meta(3, "Cellar Stairs")},
                   {0, midi_bytes::tempo(1000000)},
                   {0, midi_bytes::meter(4, 2)},
                   {0, midi_bytes::meta(0x59, std::string{'\xFE', '\1'})},  // two flats, minor
                   {0, midi_bytes::meta(6, "Gm7")},
                   {4 * 480, midi_bytes::tempo(500000)},
                   {4 * 480, midi_bytes::meta(6, "C7")}};
  Events line{{0, midi_bytes::note_on(31)},    {480, midi_bytes::note_off(31)},
              {720, midi_bytes::note_on(34)},  {960, midi_bytes::note_off(34)},
              {1920, midi_bytes::note_on(36)}, {3840, midi_bytes::note_off(36)}};
  const auto made =
      read(midi_bytes::file(1, 480, {midi_bytes::track(conductor), midi_bytes::track(line)}));
  ASSERT_TRUE(made) << made.error().message;
  const take::Take& take = made->take;
  EXPECT_TRUE(take::check_take(take));
  EXPECT_FALSE(take.recording);
  EXPECT_EQ(take.time_base_hz, 48000);
  EXPECT_EQ(take.title, "Cellar Stairs");
  ASSERT_EQ(take.notes.size(), 3U);
  EXPECT_EQ(take.notes[1].onset_samples, 72000);
  EXPECT_EQ(take.notes[2].onset_samples, 4 * 48000);
  EXPECT_EQ(take.notes[2].offset_samples, 6 * 48000);
  ASSERT_EQ(take.beats.size(), 8U);
  EXPECT_EQ(take.beats[4].bar, 2);
  EXPECT_EQ(take.beats[4].beat, 1);
  EXPECT_EQ(take.key, (take::Key{7, true, take::State::confirmed, 1.0}));
  ASSERT_EQ(take.chords.size(), 2U);
  EXPECT_EQ(take.chords[0].chord, theory::parse_chord("Gm7")->chord);
  EXPECT_EQ(take.chords[1].begin_samples, 4 * 48000);
  EXPECT_EQ(take.chords[1].end_samples, take.length_samples);
}

TEST_F(ReadMidi, the_bass_is_found_among_tracks_and_another_can_be_asked_for) {
  const std::string piano =
      midi_bytes::track({{0, midi_bytes::note_on(60)}, {480, midi_bytes::note_off(60)}});
  const std::string bass = midi_bytes::track({{0, midi_bytes::meta(3, "Upright Bass")},
                                              {0, std::string{'\xC1', 32}},
                                              {0, midi_bytes::note_on(40, 1)},
                                              {480, midi_bytes::note_off(40, 1)}});
  const std::string low_organ =
      midi_bytes::track({{0, midi_bytes::note_on(30, 2)}, {480, midi_bytes::note_off(30, 2)}});
  const std::string drums =
      midi_bytes::track({{0, midi_bytes::note_on(35, 9)}, {480, midi_bytes::note_off(35, 9)}});
  const std::string bytes = midi_bytes::file(1, 480, {piano, drums, bass, low_organ});
  const auto made = read(bytes);
  ASSERT_TRUE(made) << made.error().message;
  ASSERT_EQ(made->take.notes.size(), 1U);
  EXPECT_EQ(made->take.notes[0].midi, 40);
  ASSERT_FALSE(made->remarks.empty());
  EXPECT_NE(made->remarks[0].find("Upright Bass"), std::string::npos);
  ReadOptions first;
  first.part = 1;
  EXPECT_EQ(read(bytes, first)->take.notes[0].midi, 60);
  first.part = 9;
  EXPECT_FALSE(read(bytes, first));
}

TEST_F(ReadMidi, letters_are_rehearsal_marks_and_not_chords) {
  Events line{{0, midi_bytes::meta(6, "A")},    {0, midi_bytes::note_on(33)},
              {1920, midi_bytes::note_off(33)}, {1920, midi_bytes::meta(6, "B")},
              {1920, midi_bytes::note_on(35)},  {3840, midi_bytes::note_off(35)}};
  const auto made = read(midi_bytes::file(0, 480, {midi_bytes::track(line)}));
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_TRUE(made->take.chords.empty());
  ASSERT_EQ(made->take.passages.size(), 2U);
  EXPECT_EQ(made->take.passages[1].name, "B");
}

// 6/8 has six eighths (Standard MIDI Files 1.0: the denominator is a power of two).
TEST_F(ReadMidi, short_beats_are_counted_in_their_own_unit) {
  Events line{{0, midi_bytes::meter(6, 3)},
              {0, midi_bytes::note_on(33)},
              {720, midi_bytes::note_off(33)},
              {1440, midi_bytes::note_on(35)},
              {2880, midi_bytes::note_off(35)}};
  const auto made = read(midi_bytes::file(0, 480, {midi_bytes::track(line)}));
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_EQ(made->take.beats_per_bar, 6);
  EXPECT_EQ(made->take.beats.size(), 12U);
  EXPECT_EQ(made->take.beats[6].time_samples, made->take.notes[1].onset_samples);
}

struct Placed {
  double onset_beats;
  double length_beats;
  int midi;
};

std::vector<Placed> placed(const SmfFile& file, double ticks_a_beat) {
  std::vector<Placed> notes;
  for (const SmfTrack& track : file.tracks) {
    for (const SmfNote& note : track.notes) {
      notes.push_back({static_cast<double>(note.on_tick) / ticks_a_beat,
                       static_cast<double>(note.off_tick - note.on_tick) / ticks_a_beat,
                       note.midi});
    }
  }
  std::ranges::sort(notes, {}, &Placed::onset_beats);
  return notes;
}

// Property: MIDI to take to MIDI keeps every pitch, bar position and length, whatever the meter,
// the resolution and the changes of tempo.
TEST_F(ReadMidi, pitch_place_and_length_survive_the_way_there_and_back) {
  constexpr unsigned seed = 20;
  std::mt19937 random(seed);
  const auto pick = [&random](int least, int most) {
    return std::uniform_int_distribution<int>(least, most)(random);
  };
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + ", file " + std::to_string(i));
    const int division = std::vector{96, 120, 480, 960}[static_cast<std::size_t>(pick(0, 3))];
    const bool has_eighths = pick(0, 4) == 0;
    const int beats = has_eighths ? pick(3, 12) : pick(2, 7);
    Events line{{0, midi_bytes::meter(beats, has_eighths ? 3 : 2)}};
    for (int k = 0; k < 8; ++k) {
      line.emplace_back(k * division + (k % 3 == 0 ? division / 3 : 0),
                        midi_bytes::tempo(pick(200000, 1500000)));
    }
    std::int64_t tick = pick(0, 2 * division);
    for (int k = 0; k < 40; ++k) {
      const int length = pick(1, 2 * division);
      const int midi = pick(28, 60);
      line.emplace_back(tick, midi_bytes::note_on(midi));
      line.emplace_back(tick + length, midi_bytes::note_off(midi));
      tick += length + (pick(0, 2) == 0 ? pick(division / 10, division) : 0);
      tick += division / 10;
    }
    const std::string bytes = midi_bytes::file(0, division, {midi_bytes::track(line)});
    const auto there = read(bytes);
    ASSERT_TRUE(there) << there.error().message;
    ASSERT_TRUE(take::check_take(there->take));
    const auto back = parse_smf(sheet::midi_file(there->take), "back");
    ASSERT_TRUE(back) << back.error().message;
    const auto before = placed(*parse_smf(bytes, "there"), has_eighths ? division / 2.0 : division);
    const auto after = placed(*back, 960.0);
    ASSERT_EQ(after.size(), before.size());
    for (std::size_t k = 0; k < before.size(); ++k) {
      EXPECT_EQ(after[k].midi, before[k].midi) << k;
      EXPECT_NEAR(after[k].onset_beats, before[k].onset_beats, 1.5 / 960.0) << k;
      EXPECT_NEAR(after[k].length_beats, before[k].length_beats, 2.0 / 960.0) << k;
    }
    ASSERT_FALSE(back->meters.empty());
    EXPECT_EQ(back->meters.front().numerator, beats);
  }
}

TEST_F(ReadMidi, a_take_comes_back_from_its_own_midi_file) {
  const take::Take walk = sheet::example::walk();
  const auto read_back = read(sheet::midi_file(walk));
  ASSERT_TRUE(read_back) << read_back.error().message;
  ASSERT_EQ(read_back->take.notes.size(), walk.notes.size());
  for (std::size_t i = 0; i < walk.notes.size(); ++i) {
    EXPECT_EQ(read_back->take.notes[i].midi, walk.notes[i].midi);
    // The file counts ticks of half a millisecond.
    EXPECT_NEAR(static_cast<double>(read_back->take.notes[i].onset_samples),
                static_cast<double>(walk.notes[i].onset_samples), 30.0);
  }
  ASSERT_EQ(read_back->take.chords.size(), walk.chords.size());
  EXPECT_EQ(read_back->take.key->tonic_pc, 10);
}

TEST_F(ReadMidi, running_status_without_a_status_is_named_and_the_rest_kept) {
  const std::string body = std::string{'\0'} + midi_bytes::note_on(40) +
                           midi_bytes::variable_length(480) + midi_bytes::note_off(40) +
                           midi_bytes::variable_length(0) + midi_bytes::meta(1, "x") +
                           std::string{'\0', 40, 90};
  const std::string track =
      "MTrk" + midi_bytes::big_endian(static_cast<std::uint32_t>(body.size()), 4) + body;
  const auto made = read(midi_bytes::file(0, 480, {track}));
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_EQ(made->take.notes.size(), 1U);
  ASSERT_EQ(made->remarks.size(), 1U);
  EXPECT_NE(made->remarks[0].find("running status"), std::string::npos) << made->remarks[0];
}

TEST_F(ReadMidi, running_status_is_read) {
  const std::string body = std::string{'\0'} + midi_bytes::note_on(40) +
                           midi_bytes::variable_length(480) + std::string{40, '\0'} +
                           std::string{'\0', 43, 90} + midi_bytes::variable_length(480) +
                           std::string{43, '\0'};
  const std::string track =
      "MTrk" + midi_bytes::big_endian(static_cast<std::uint32_t>(body.size()), 4) + body;
  const auto made = read(midi_bytes::file(0, 480, {track}));
  ASSERT_TRUE(made) << made.error().message;
  ASSERT_EQ(made->take.notes.size(), 2U);
  EXPECT_EQ(made->take.notes[1].midi, 43);
}

TEST_F(ReadMidi, what_cannot_be_read_says_why) {
  const auto expect = [this](const std::string& bytes, const std::string& says) {
    const auto made = read(bytes);
    ASSERT_FALSE(made);
    EXPECT_NE(made.error().message.find(says), std::string::npos) << made.error().message;
    EXPECT_NE(made.error().message.find("line.mid"), std::string::npos) << made.error().message;
  };
  expect("MThd", "cut off");
  expect(midi_bytes::file(2, 480, {midi_bytes::track({})}), "format 2");
  expect(midi_bytes::file(1, 0, {midi_bytes::track({})}), "counts no time");
  expect(midi_bytes::file(1, 480, {midi_bytes::track({})}), "no notes");
  expect(midi_bytes::file(1, 480, {}), "no track");
  expect("RIFF....RMID", "RIFF");
  expect("no music at all", "not what its name says");
}

}  // namespace
}  // namespace lowstride::notation
